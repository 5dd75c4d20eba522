"""The floor's pages under a wet glove: how large actions are, how far apart, and what stays calm.

88 CSS pixels are 15 mm on a 10.1 inch tablet of 1280 CSS pixels. MIL-STD-1472 (table of push
buttons) asks for 13 mm from edge to edge for a bare hand and for more apart with gloves; Duff et
al. 2010 (Human Factors and Ergonomics Society, 54th meeting) found errors to fall up to 20 mm. Rows
of a list may be lower where the whole row is one action: 64 px, above the 44 of WCAG 2.2, success
criterion 2.5.5.
"""

import io
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import expect

from app.clock import utc_now
from app.domain.roomlog.kinds import Entry, Resin, Wash
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from tests.browser.places import LAY_BARS_DOWN
from tests.browser.rooms import SIZES
from tests.factories import tank
from tests.furnished import new_store

pytestmark = pytest.mark.browser

LEAST_PX = 88
LEAST_ROW_PX = 64
LEAST_APART_PX = 8
MOST_COLOURED = 0.005
CLEARLY_COLOURED = 40
"""Between the strongest and the weakest of red, green and blue, of 255; greys stay below 25."""
WIDE, UPRIGHT = {"width": 1280, "height": 800}, {"width": 800, "height": 1280}
FLOOR = {
    "board": "",
    "station": "/tanks/alder",
    "station over its limit": "/tanks/birch",
    "station to check": "/tanks/cedar",
    "station being swapped": "/tanks/fir",
    "wash": "/tanks/alder/log/wash",
    "reading": "/tanks/alder/log/reading",
    "top-up": "/tanks/alder/log/top-up",
    "reject": "/tanks/alder/log/reject",
    "hold": "/tanks/alder/hold",
    "hand-over": "/hand-over",
    "note for the next shift": "/hand-over/note",
}

# Each action with its box, of a tile the tile. A link within a sentence is left out, as WCAG 2.5.8
# does.
ACTIONS = """() => {
  const found = [];
  const isInSentence = (one) => one.tagName === 'A' && getComputedStyle(one).display === 'inline'
    && one.parentElement.textContent.trim().length > one.textContent.trim().length;
  const all = 'a[href], button, summary, input, select, textarea';
  for (const one of document.querySelectorAll(all)) {
    if (one.type === 'hidden' || one.disabled || one.closest('.skip, .unseen')) continue;
    const drawn = one.closest('label.tile, label.check') || one;
    if (!drawn.checkVisibility({ visibilityProperty: true }) || isInSentence(one)) continue;
    const { left, top, right, bottom, width, height } = drawn.getBoundingClientRect();
    if (!width || !height) continue;
    const isRow = Boolean(one.closest('li, .others, .together, .menu-panel')) && width > 400;
    const said = drawn.textContent || one.name || one.id;
    const words = said.trim().replace(/\\s+/g, ' ').slice(0, 40);
    found.push({ words: `${one.tagName.toLowerCase()} ${words}`, left, top, right, bottom, width,
      height, isRow });
  }
  return found;
}"""


def name_of(viewport: dict[str, int]) -> str:
    return f"{viewport['width']}x{viewport['height']}"


def too_small(actions: list[dict[str, Any]]) -> list[str]:
    """Actions that a glove misses."""
    return [
        f"{one['words']}: {one['width']:.0f} x {one['height']:.0f}"
        for one in actions
        if one["height"] < (LEAST_ROW_PX if one["isRow"] else LEAST_PX) - 0.5
        or one["width"] < LEAST_PX - 0.5
    ]


def too_close(actions: list[dict[str, Any]]) -> list[str]:
    """Pairs of actions that a glove takes for each other; rows of a list may touch."""
    found = []
    for index, one in enumerate(actions):
        for other in actions[index + 1 :]:
            across = max(one["left"], other["left"]) - min(one["right"], other["right"])
            down = max(one["top"], other["top"]) - min(one["bottom"], other["bottom"])
            are_rows = one["isRow"] and other["isRow"]
            if max(across, down) < LEAST_APART_PX - 0.5 and not are_rows:
                found.append(f"{one['words']} | {other['words']}: {max(across, down):.0f}")
    return found


@pytest.mark.parametrize("viewport", [WIDE, UPRIGHT], ids=name_of)
def test_every_action_of_the_floor_is_large_and_apart(
    new_page: Any, demo: str, viewport: dict[str, int]
) -> None:
    page = new_page(viewport=viewport)
    faults = {}
    for name, path in FLOOR.items():
        page.goto(demo + path)
        page.evaluate(LAY_BARS_DOWN)
        actions = page.evaluate(ACTIONS)
        assert len(actions) > 3
        if found := [*too_small(actions), *too_close(actions)]:
            faults[name] = found
    assert faults == {}


@pytest.mark.parametrize("viewport", [WIDE, UPRIGHT], ids=name_of)
def test_what_a_reading_says_is_seen_beside_the_keys(
    new_page: Any, demo: str, viewport: dict[str, int]
) -> None:
    page = new_page(viewport=viewport, has_touch=True)
    page.goto(f"{demo}/tanks/alder/log/reading?method=hydrometer")
    keys = page.get_by_role("group", name="Number keys")
    for label, figure in (("Density", "0.801"), ("Temperature", "20")):
        page.get_by_label(label).tap()
        for key in figure:
            keys.get_by_role("button", name=key, exact=True).tap()
    said = page.locator("#preview")
    expect(said).to_contain_text("by mass")
    one, pad = said.bounding_box(), keys.bounding_box()
    assert one["y"] >= 0
    is_above = one["y"] + one["height"] <= pad["y"] + 1
    is_beside = one["x"] + one["width"] <= pad["x"] + 1
    assert is_above or is_beside, (one, pad)
    assert one["y"] + one["height"] <= viewport["height"]


def test_what_opens_at_the_station_is_large_too(new_page: Any, demo: str) -> None:
    page = new_page(viewport=UPRIGHT)
    page.goto(f"{demo}/tanks/alder")
    page.locator(".stand-other > summary").click()
    shown = page.locator(".stand-others a").all()
    assert len(shown) > 6
    for one in shown:
        box = one.bounding_box()
        assert min(box["width"], box["height"]) >= LEAST_PX


@pytest.mark.parametrize("tanks", SIZES)
def test_a_room_of_any_size_stands_on_one_upright_screen(
    new_page: Any, rooms: str, tanks: int
) -> None:
    page = new_page(viewport=UPRIGHT)
    page.goto(f"{rooms}/room-{tanks}")
    assert page.evaluate("document.documentElement.scrollHeight") <= UPRIGHT["height"]
    told = page.locator("a.tank").count() + page.locator(".calm-named .tooth-row").count()
    for more in page.locator(".more-needy b, .calm-rest b").all_inner_texts():
        told += int(more.split()[0])
    assert told == tanks
    page.goto(f"{rooms}/room-{tanks}?show=all")
    assert page.locator("a.tank").count() == tanks


@pytest.fixture(scope="module")
def calm(serve: Any, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of a room in which nothing has to be done."""
    folder = tmp_path_factory.mktemp("calm")
    _furnish_calm(folder)
    return f"{serve('serve', data_dir=folder).url}/rooms/calm"


def _furnish_calm(folder: Path) -> None:
    store, now = new_store(folder), utc_now()
    add_room(store, RoomForm(name="Calm", key="calm"), now)
    start = now - timedelta(days=20)
    entries: list[Entry] = [
        Resin(at=start, id="r1", resin="slate", name="Slate", density_g_ml=1.12)
    ]
    for number in range(1, 7):
        entries.append(tank(f"t{number}", at=start, name=f"Tank {number}"))
        entries += [
            Wash(at=now - timedelta(days=19 - index), tank=f"t{number}", resin="slate",
                 area_cm2=400.0 + 100 * number)
            for index in range(18)
        ]  # fmt: skip
    record(store, "calm", entries, now)
    store.close()


def coloured_share(png: bytes) -> float:
    """How much of a picture is coloured, of 1."""
    picture = Image.open(io.BytesIO(png)).convert("RGB")
    red, green, blue = (band.tobytes() for band in picture.split())
    coloured = sum(
        max(pixel) - min(pixel) > CLEARLY_COLOURED for pixel in zip(red, green, blue, strict=True)
    )
    return coloured / (picture.width * picture.height)


def test_colour_is_counted_as_colour() -> None:
    picture = Image.new("RGB", (10, 10), "#d6dcdb")
    picture.paste((176, 15, 46), (0, 0, 10, 2))
    out = io.BytesIO()
    picture.save(out, "png")
    assert coloured_share(out.getvalue()) == pytest.approx(0.2)


@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("viewport", [WIDE, UPRIGHT], ids=name_of)
def test_a_calm_board_has_no_colour(
    new_page: Any, calm: str, viewport: dict[str, int], scheme: str
) -> None:
    page = new_page(viewport=viewport, color_scheme=scheme)
    page.goto(calm)
    assert page.locator(".headline-needs").inner_text() == "Too early to say"
    assert coloured_share(page.screenshot()) < MOST_COLOURED


def test_one_line_is_the_limit_of_every_tank(page: Any, rooms: str) -> None:
    """The line is drawn once; in each picture the limit must lie where the line passes."""
    for viewport in (WIDE, UPRIGHT):
        page.set_viewport_size(viewport)
        page.goto(f"{rooms}/room-6")
        off = page.evaluate(
            """() => {
              const board = document.querySelector('.lined');
              const line = getComputedStyle(board, '::before');
              const isAcross = line.borderTopWidth === '6px';
              const at = board.getBoundingClientRect();
              const where = 3 + (isAcross ? at.top + parseFloat(line.top)
                : at.left + parseFloat(line.left));
              return [...document.querySelectorAll('a.tank .vessel')].map((one) => {
                const { top, right, width, height } = one.getBoundingClientRect();
                const share = 1 - 100 / 122;
                return (isAcross ? top + height * share : right - width * share) - where;
              });
            }"""
        )
        assert len(off) == 6
        assert max(map(abs, off)) <= 1.5, off
