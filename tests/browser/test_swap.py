"""A swap led on two tablets: one step at a time, each sees what the other did."""

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from typing import Any

import pytest

from app.clock import utc_now
from app.domain.roomlog.kinds import Entry, Resin, Wash
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from tests.browser.places import board_tank, say_who
from tests.browser.test_accessibility import AXE, RULES, RUN
from tests.browser.test_layout import (
    OVERFLOWING,
    PRIMARY,
    PRIMARY_PX,
    SECONDARY,
    SECONDARY_PX,
    TOO_SMALL,
    UPRIGHT,
    WIDE,
)
from tests.factories import tank
from tests.furnished import new_store
from tests.running import RunningServer

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser
IN_MAIN = ", ".join(part for part in SECONDARY.split(", ") if part.startswith("main"))
TANKS = ("alder", "birch", "cedar", "elder", "fir")


@pytest.fixture(scope="module")
def hall(serve: Callable[..., RunningServer], tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of a room with used baths, a drum, solvent and a lead."""
    folder = tmp_path_factory.mktemp("hall")
    store, now = new_store(folder), utc_now()
    start = now - timedelta(days=9)
    add_room(store, RoomForm(name="Hall", key="hall"), now)
    entries: list[Entry] = [
        Resin(at=start, resin="slate", name="Slate", density_g_ml=1.12),
        *(tank(key, at=start, name=key.title(), saturation_percent=9.0) for key in TANKS),
        *(Wash(at=now - timedelta(days=1), tank=key, resin="slate", area_cm2=900) for key in TANKS),
        Drum(at=start, drum="w13", name="W-13", capacity_l=200, stream="isopropanol_resin",
             area="wash_station"),
        Item(at=start, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.8),
        StockReceived(at=start, item="ipa", quantity=120, lot="A7"),
        CrewMember(at=start, crew="crew", name="Curlew", role="lead"),
    ]  # fmt: skip
    record(store, "hall", entries, now)
    store.close()
    return f"{serve('serve', data_dir=folder).url}/rooms/hall"


def begin(page: Any, address: str, name: str = "Wren") -> None:
    """Start the swap of a tank."""
    page.goto(address)
    say_who(page, "Who does this", name)
    with page.expect_navigation():
        page.get_by_role("button", name="Start the swap").click()


def confirm_all(page: Any) -> None:
    """Touch every point of the step, its whole row."""
    for row in page.locator(".confirm-row").all():
        row.tap()


def go_on(page: Any, said: str) -> None:
    """Confirm what is to be confirmed, and touch the named action."""
    confirm_all(page)
    with page.expect_navigation():
        page.get_by_role("button", name=re.compile(f"^{said}")).tap()


@contextmanager
def unanswered_once(page: Any, path: str) -> Iterator[None]:
    """The first request to this path gets no answer, as from a server that hangs."""
    lost: list[str] = []

    def hang(route: Any) -> None:
        if lost:
            route.continue_()
        lost.append(route.request.url)

    page.route(re.compile(path), hang)
    yield
    page.unroute(re.compile(path))
    assert len(lost) > 1


def type_in(page: Any, label: str, figure: str) -> None:
    page.get_by_label(re.compile(f"^{label}")).fill(figure)


def until_drained(page: Any) -> None:
    for said in ("Place is clear", "Protected", "Isolated"):
        go_on(page, said)
    go_on(page, "Drum is ready")
    go_on(page, "Bonded")
    type_in(page, "Volume drained", "39")
    go_on(page, "Drained")


def test_a_swap_is_led_to_its_end_by_touch(
    tablet: Any, hall: str, console_errors: list[str]
) -> None:
    begin(tablet, f"{hall}/tanks/alder/swap")
    expect(tablet.get_by_role("heading", level=1)).to_have_text("Clear the place")
    until_drained(tablet)
    expect(tablet.locator(".toast")).to_contain_text("Saved: Drained, Wren")
    go_on(tablet, "Inspected")
    type_in(tablet, "Rinse into the drum", "2")
    tablet.locator("label.tile", has_text="lot A7").tap()
    go_on(tablet, "Rinsed")
    go_on(tablet, "Wiped")
    tablet.locator("label.tile", has_text="film came off").tap()
    go_on(tablet, "Sensor checked")
    tablet.evaluate("window.isSame = true")
    go_on(tablet, "Refitted")
    expect(tablet.get_by_role("heading", level=1)).to_have_text("Fill to between the marks")
    assert tablet.evaluate("window.isSame") is True  # turned: a page loaded anew has none
    type_in(tablet, "Filled", "39")
    tablet.locator("label.tile", has_text="lot A7").tap()
    go_on(tablet, "Filled")
    go_on(tablet, "No leak")
    tablet.get_by_role("link", name="In-bath sensor").tap()
    tablet.get_by_label(re.compile("^Resin|^Saturation|^Shown")).first.fill("0.1")
    go_on(tablet, "Reading taken")
    go_on(tablet, "Running")
    with unanswered_once(tablet, "/tick$"):  # the last step waits on the tablet for a moment
        go_on(tablet, "Put away")
        title = tablet.get_by_role("heading", level=1)
        expect(title).to_have_text("Complete the swap of Alder", timeout=30_000)
    console_errors.clear()  # the browser tells of the request that was given up
    expect(tablet.locator(".balance")).to_contain_text("39.00 L")
    if tablet.get_by_label("Where the difference may have gone").count():
        tablet.get_by_label("Where the difference may have gone").fill("Levels read wrong")
    tablet.get_by_role("button", name="Complete the swap").tap()
    expect(tablet.locator(".lead")).to_contain_text("Completed by Wren")
    tablet.goto(hall)
    expect(board_tank(tablet, "alder")).not_to_contain_text("Swapping")


def test_the_other_tablet_sees_who_did_a_step_and_what_it_typed_stays(
    new_page: Any, hall: str
) -> None:
    one, two = new_page(has_touch=True), new_page(has_touch=True)
    begin(one, f"{hall}/tanks/birch/swap")
    two.goto(f"{hall}/tanks/birch/swap")
    say_who(two, "Who does this", "Dunlin")
    two.wait_for_timeout(500)  # the stream is open
    go_on(one, "Place is clear")
    expect(two.locator("#seen")).to_contain_text("Wren did this", timeout=5000)
    expect(two.locator("#rail")).to_contain_text("1 of 16 done")
    expect(two.get_by_label("Another name")).to_have_value("Dunlin")
    go_on(two, "Place is clear")
    expect(two.locator(".toast")).to_contain_text("Wren had already done this")


def test_a_wrong_tick_is_undone_at_once(tablet: Any, hall: str) -> None:
    begin(tablet, f"{hall}/tanks/cedar/swap")
    until_drained(tablet)
    tablet.locator(".toast").get_by_role("button", name="Undo").tap()
    expect(tablet.get_by_role("heading", level=1)).to_have_text("Drain into the drum")
    expect(tablet.get_by_role("button", name=re.compile("^Drained"))).to_be_visible()


def test_a_step_is_ticked_without_scripts(
    new_page: Any, hall: str, console_errors: list[str]
) -> None:
    page, swap = new_page(java_script_enabled=False, has_touch=True), f"{hall}/tanks/fir/swap"
    begin(page, swap, "Dunlin")
    page.goto(f"{swap}?step=leak_check")
    expect(page.get_by_role("button", name=re.compile("^No leak"))).to_contain_text("not filled")
    go_on(page, "No leak")
    expect(page.locator("#f-gate")).to_contain_text("not filled")
    [refusal] = console_errors  # the browser notes the status of the page that refuses
    assert "422" in refusal
    console_errors.clear()
    expect(page.locator("#seen")).not_to_contain_text("did this")
    page.goto(f"{swap}?step=prepare")
    go_on(page, "Place is clear")
    page.goto(f"{swap}?step=prepare")
    expect(page.locator("#seen")).to_contain_text("Dunlin did this")


VIEWS = (
    "?step=prepare", "?step=choose_drum", "?step=bond", "?step=drain", "?step=sensor", "?step=fill",
    "?step=read", "?view=all", "?view=close", "?view=problem&step=wipe", "/paper", "/record",
)  # fmt: skip


@pytest.fixture(scope="module")
def swap(hall: str) -> str:
    """Address of a tank's swap; each test that needs it under way starts it where it is not."""
    return f"{hall}/tanks/elder/swap"


def under_way(page: Any, swap: str) -> None:
    page.goto(swap)
    if page.get_by_role("button", name="Start the swap").count():
        begin(page, swap)


@pytest.mark.parametrize("viewport", [WIDE, UPRIGHT], ids=["wide", "upright"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_every_page_of_a_swap_can_be_read_and_touched(
    new_page: Any, swap: str, viewport: dict[str, int], scheme: str
) -> None:
    page = new_page(viewport=viewport, color_scheme=scheme)
    under_way(page, swap)
    source = AXE.read_text("utf-8")
    for view in VIEWS:
        page.goto(swap + view)
        assert page.evaluate(OVERFLOWING) == [], view
        assert page.evaluate(TOO_SMALL, [PRIMARY, PRIMARY_PX]) == [], view
        assert page.evaluate(TOO_SMALL, [IN_MAIN, SECONDARY_PX]) == [], view
        page.evaluate(source)
        assert page.evaluate(RUN, RULES) == [], view


def test_the_action_and_the_way_to_trouble_stand_apart_at_the_foot(
    new_page: Any, swap: str
) -> None:
    under_way(new_page(), swap)
    page = new_page(viewport=WIDE)  # a tablet that knows nobody yet asks who does it
    page.goto(swap + "?step=bond")
    expect(page.get_by_role("group", name="Who does this")).to_be_visible()
    trouble = page.locator(".step-bar a").bounding_box()
    action = page.locator(".step-bar .primary").bounding_box()
    assert action["x"] - (trouble["x"] + trouble["width"]) >= 32
    assert action["y"] + action["height"] <= WIDE["height"]


COVERED = """() => {
  const bars = [...document.querySelectorAll('.step-bar, .toast')];
  const fields = document.querySelectorAll('.step-form input:not([type=hidden]), .step-form select,'
    + ' .step-form summary');
  const found = [];
  for (const field of fields) {
    const folded = field.closest('details:not([open])');
    if (folded && field.tagName !== 'SUMMARY') continue;
    field.focus();
    const seen = (field.closest('label') ?? field).getBoundingClientRect();
    for (const bar of bars) {
      const box = bar.getBoundingClientRect();
      const deep = Math.min(seen.bottom, box.bottom) - Math.max(seen.top, box.top);
      const wide = Math.min(seen.right, box.right) - Math.max(seen.left, box.left);
      if (deep > 1 && wide > 1) found.push(`${field.name || field.textContent} ${deep}`);
    }
  }
  return found;
}"""
STEPS = ("protect", "choose_drum", "drain", "rinse", "fill", "read", "close_out")


@pytest.mark.parametrize("size", [UPRIGHT, WIDE], ids=["upright", "wide"])
def test_nothing_lies_over_a_field_that_has_the_focus(
    new_page: Callable[..., Any], swap: str, size: dict[str, int]
) -> None:
    page = new_page(viewport=size)
    under_way(page, swap)
    for step in STEPS:
        page.goto(f"{swap}?step={step}")
        assert page.evaluate(COVERED) == [], step
