"""With colours forced by the system, what is chosen looks chosen and pictures stay readable.

Pictures are compared, not rules: a rule says nothing about what the system makes of it (CSS Color
Adjustment Level 1 replaces colours and removes shadows, whatever the style sheet says).
"""

import io
import re
from collections.abc import Callable
from typing import Any

import pytest
from PIL import Image, ImageChops

from tests.browser.places import say_who

pytestmark = pytest.mark.browser

SCHEMES = ["light", "dark"]
LEAST_CHANGED = 150  # pixels: a tick and a thicker border are several hundred
ROOM = "/rooms/larkmoor"
Toggle = Callable[[Any], None]


@pytest.fixture(params=SCHEMES)
def forced(new_page: Any, request: pytest.FixtureRequest) -> Any:
    """A tablet with colours forced, light or dark."""
    return new_page(forced_colors="active", color_scheme=request.param)


def picture(page: Any, box: dict[str, float]) -> Image.Image:
    """A part of the page as it is seen."""
    return Image.open(io.BytesIO(page.screenshot(clip=box))).convert("L")


def changed(one: Image.Image, other: Image.Image) -> int:
    """How many pixels clearly differ."""
    histogram = ImageChops.difference(one, other).histogram()
    return sum(histogram[64:])


def box_of(found: Any) -> dict[str, float]:
    """Where an element stands on the screen."""
    found.scroll_into_view_if_needed()
    box: dict[str, float] = found.bounding_box()
    return box


def difference(page: Any, found: Any, toggle: Toggle) -> int:
    """How much of an element's picture a change changes; the focus is elsewhere both times."""
    box = box_of(found)
    page.evaluate("document.activeElement?.blur()")
    before = picture(page, box)
    toggle(found)
    page.evaluate("document.activeElement?.blur()")
    return changed(before, picture(page, box))


def mark(found: Any) -> None:
    """Choose what is chosen by the page, or no longer."""
    found.evaluate(
        """(one) => one.hasAttribute("aria-current")
            ? one.removeAttribute("aria-current") : one.setAttribute("aria-current", "true")"""
    )


def tick(found: Any) -> None:
    """Tick the field in it, whatever the page does with the touch."""
    found.evaluate(
        "(one) => { const box = one.querySelector('input'); box.checked = !box.checked; }"
    )


KINDS: list[tuple[str, str, str, Toggle]] = [
    ("tile", "/styleguide", ".tile:has(input)", tick),
    ("tick box", "/styleguide", ".check", tick),
    ("switch", "/styleguide", ".switch a", mark),
    ("tile of a question", "QUESTION", ".question .tile", tick),
    ("named tile", f"{ROOM}/who", ".tile-button", mark),
    ("method of a reading", f"{ROOM}/tanks/alder/log/reading", ".switch a", mark),
    ("resin of a wash", f"{ROOM}/tanks/alder/log/wash", ".tile:has(input)", tick),
    ("span of a course", f"{ROOM}/tanks/alder", ".switch a", mark),
    ("page of costs", f"{ROOM}/spend", ".switch a", mark),
    ("point of a step", f"{ROOM}/tanks/fir/swap?step=leak_check", ".confirm-row", tick),
    ("step at the side", f"{ROOM}/tanks/fir/swap?step=protect", ".rail-steps a", mark),
    ("day of the week", f"{ROOM}/site", ".check", tick),
    ("decision", f"{ROOM}/plan/birch", ".tile:has(input)", tick),
]


def address_of(page: Any, demo: str, path: str) -> None:
    """Go to the page, starting what it needs."""
    server = demo.removesuffix(ROOM)
    if path != "QUESTION":
        page.goto(server + path)
        return
    page.goto(f"{demo}/tanks/cedar/inspection")
    if page.get_by_role("button", name=re.compile(r"^Start: (empty|[0-9])")).count():
        say_who(page, "Who looks", "Wren")
        page.get_by_role("button", name=re.compile(r"^Start: (empty|[0-9])")).click()
    else:
        page.get_by_role("link", name="Go on with the inspection").click()
    page.get_by_role("link", name=re.compile("^Look at")).first.click()
    page.locator(".question").first.wait_for()


@pytest.mark.parametrize("name, path, selector, toggle", KINDS, ids=[kind[0] for kind in KINDS])
def test_what_is_chosen_looks_chosen(
    forced: Any, demo: str, name: str, path: str, selector: str, toggle: Toggle
) -> None:
    address_of(forced, demo, path)
    found = forced.locator(selector).first
    assert difference(forced, found, toggle) >= LEAST_CHANGED, name


@pytest.mark.parametrize("name, path, selector, toggle", KINDS, ids=[kind[0] for kind in KINDS])
def test_the_same_is_seen_without_any_colour(
    new_page: Any, demo: str, name: str, path: str, selector: str, toggle: Toggle
) -> None:
    """Chosen is a tick and a thick border in every theme: borders alone are compared."""
    page = new_page()
    address_of(page, demo, path)
    page.evaluate(
        """() => {
            const sheet = new CSSStyleSheet();
            sheet.replaceSync(`*, *::before, *::after { background: none !important;
                color: #000 !important; border-color: #000 !important; }`);
            document.adoptedStyleSheets = [sheet];
        }"""
    )
    found = page.locator(selector).first
    assert difference(page, found, toggle) >= LEAST_CHANGED, name


def test_the_step_at_hand_is_seen_in_the_bar_of_a_narrow_screen(new_page: Any, demo: str) -> None:
    page = new_page(forced_colors="active", viewport={"width": 800, "height": 1280})
    page.goto(f"{demo}/tanks/fir/swap?step=protect")
    found = page.locator(".rail-steps a").nth(5)
    assert difference(page, found, mark) >= LEAST_CHANGED


STATES = ("ok", "soon", "over", "stop", "measure", "check", "swapping", "held")


def test_every_state_of_a_bath_has_a_picture_of_its_own(forced: Any, demo: str) -> None:
    forced.goto(f"{demo.removesuffix(ROOM)}/styleguide")
    board = forced.locator("section[aria-labelledby=sg-states]")
    words = {}
    for state in STATES:
        column = board.locator(f".tank-{state}").first
        words[state] = picture(forced, box_of(column))
    for one in STATES:
        for other in STATES:
            if one < other:
                width = min(words[one].width, words[other].width)
                height = min(words[one].height, words[other].height)
                pair = [words[key].crop((0, 0, width, height)) for key in (one, other)]
                assert changed(*pair) >= LEAST_CHANGED, (one, other)


PARTS = [
    ("/styleguide", ".vessel .fluid"),
    ("/styleguide", ".vessel-stop .excess"),
    ("/styleguide", ".vessel .waterline"),
    ("/styleguide", ".vessel .likely"),
    ("/styleguide", ".vessel .stop-line"),
    ("/styleguide", ".trend .t-line"),
    ("/styleguide", ".trend .t-band"),
    ("/styleguide", ".trend .t-fan"),
    ("/styleguide", ".trend .t-limit"),
    ("/styleguide", ".trend .t-reading"),
    ("/styleguide", ".trend .t-swap"),
    ("/styleguide", ".interval-span"),
    ("/styleguide", ".interval-mark"),
    ("/styleguide", ".spark path"),
    ("/styleguide", "progress"),
    (f"{ROOM}/spend", ".spend-bar"),
    (f"{ROOM}/spend", ".spend-bar.is-shown"),
    (f"{ROOM}/spend", ".spend-over"),
    (f"{ROOM}/spend", ".spend-budget"),
    (f"{ROOM}/spend/balance", ".flow-2"),
    (f"{ROOM}/waste", ".fill-bar .fluid"),
    (f"{ROOM}/waste", ".drums .vessel .limit-line"),
    (f"{ROOM}/shelf", ".stock-fill"),
    (f"{ROOM}/stations/drawer", ".spot-light"),
]


@pytest.mark.parametrize("path, selector", PARTS, ids=[f"{p} {s}" for p, s in PARTS])
def test_each_part_of_a_picture_is_seen(forced: Any, demo: str, path: str, selector: str) -> None:
    """Taken away, it leaves another picture."""
    forced.goto(demo.removesuffix(ROOM) + path)
    found = forced.locator(selector)
    assert found.count(), f"no {selector} on {path}"
    hide = "(one) => { one.style.visibility = 'hidden'; }"
    seen = [
        difference(forced, found.nth(place), lambda one: one.evaluate(hide))
        for place in range(found.count())
        if found.nth(place).bounding_box()["width"] >= 2
    ][:3]
    assert max(seen) > 20, seen


def test_the_one_line_of_the_limit_is_seen(forced: Any, demo: str) -> None:
    """Baths of a room share it; it is drawn before the list that holds them."""
    forced.goto(f"{demo.removesuffix(ROOM)}/styleguide")
    hide = """() => {
        const sheet = new CSSStyleSheet();
        sheet.replaceSync(".lined::before { visibility: hidden; }");
        document.adoptedStyleSheets = [sheet];
    }"""
    lined = forced.locator(".lined").first
    assert difference(forced, lined, lambda one: one.evaluate(hide)) > 20


def test_series_that_stand_in_one_picture_differ(forced: Any, demo: str) -> None:
    forced.goto(f"{demo}/spend/balance")
    keys = forced.locator(".spend-key")
    looks = []
    for place in range(keys.count()):
        look = keys.nth(place).evaluate(
            """(one) => { const look = getComputedStyle(one);
                return [one.className, look.backgroundColor + look.outlineStyle]; }"""
        )
        looks.append(look)
    by_class = dict(looks)
    assert len(by_class) >= 4
    assert len(set(by_class.values())) == len(by_class), by_class


def test_words_on_a_picture_stand_on_a_rim(forced: Any, demo: str) -> None:
    """A figure in the fluid has the page's colour around it, and the text's within."""
    forced.goto(f"{demo.removesuffix(ROOM)}/styleguide")
    figure = forced.locator(".figure-inside").first
    look = figure.evaluate(
        "(one) => { const l = getComputedStyle(one); return [l.fill, l.stroke, l.paintOrder]; }"
    )
    page = forced.evaluate(
        """() => { const one = document.createElement("p"); document.body.append(one);
            const l = getComputedStyle(one); const r = [l.color,
            getComputedStyle(document.body).backgroundColor]; one.remove(); return r; }"""
    )
    assert look[:2] == page
    assert look[2].startswith("stroke")
