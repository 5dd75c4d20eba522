"""What a tablet keeps until it arrives: through a closed tab, a second one, a doubt."""

import re
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from app.installation import browser as chromium
from tests.browser.places import SECOND_TOUCH_MS, toast
from tests.browser.tablets import (
    PATIENCE_MS,
    Place,
    entries_of,
    expect_sent,
    kept,
    log_in_gap,
    open_wash,
    serve_again,
    serve_tanks,
    start_looking,
)
from tests.browser.test_accessibility import AXE, RULES, RUN
from tests.browser.test_layout import OVERFLOWING, TOO_SMALL
from tests.conftest import BROWSER_FLAGS, TABLET
from tests.factories import ROOM
from tests.gaps import Line
from tests.photos import photo

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser

GLOVE_PX = 88
"""15 mm of a 10.1 inch tablet (MIL-STD-1472E, Table VII: 13 mm, more for gloves)."""
AGREES_S = 3.0
"""How closely the time of an entry follows the touch."""
LISTED = 3  # so many entries are told apart in a list
SET_AHEAD = """
    sessionStorage.aheadMs ??= %d;
    const trueNow = Date.now;
    Date.now = () => trueNow() + Number(sessionStorage.aheadMs);
"""
"""A device's clock that is so many milliseconds ahead, and can be set."""


MOST, TWO_THOUSAND_MS = 2000, 3_600_000
COPIES = """async (most) => {
    const [first] = await outbox.some("waiting", 1);
    const { id, ...entry } = { ...first, tries: 0 };
    for (let parts = 2; parts <= most; parts += 1) {
        const at = entry.touched.at + parts;
        await outbox.keep({
            ...entry, key: outbox.newKey(), touched: { ...entry.touched, at, byDevice: at },
            fields: entry.fields.map(([name, value]) =>
                [name, { parts: `${parts}`, submission: `many-${parts}` }[name] ?? value]),
        });
    }
}"""
"""Copies of the one entry that waits, each with its own key and number of parts."""


def by_name(line: Line) -> str:
    """An address that is no secure context, as a tablet's is (W3C Secure Contexts)."""
    return f"http://room.test:{line.port}"


def list_kept(page: Any) -> Any:
    """Open the list of what waits."""
    page.get_by_role("button", name="What waits").click()
    return kept(page).locator("li")


@pytest.fixture
def profile(browser: Any, tmp_path: Path) -> Iterator[Any]:
    """A function that starts a browser on the same profile: a tablet that is switched on again."""
    started: list[Any] = []

    def start() -> Any:
        for one in started:
            one.close()
        started[:] = [
            browser.browser_type.launch_persistent_context(
                tmp_path / "profile", executable_path=chromium.find_chromium(),
                args=list(BROWSER_FLAGS), viewport=TABLET,
            )
        ]  # fmt: skip
        return started[0].pages[0]

    yield start
    for one in started:
        one.close()


def test_another_entry_may_be_made_while_one_waits(page: Any, place: Place, line: Line) -> None:
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    for waiting, parts in enumerate((11, 12, 13), 1):
        log_in_gap(page, parts, waiting)
    assert page.evaluate("document.activeElement.closest('#kept')") is None
    lines = list_kept(page)
    expect(lines).to_have_count(LISTED)
    expect(lines.first).to_contain_text("Slate, Parts: 11")
    line.becomes("whole")
    expect_sent(page)
    assert place.parts() == [11, 12, 13]


def test_a_tablet_that_was_off_sends_what_it_keeps_as_of_its_touch(
    profile: Any, place: Place, line: Line
) -> None:
    page = profile()
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    log_in_gap(page, 11)
    log_in_gap(page, 12, 2)
    touched = place.now()
    page = profile()
    line.becomes("whole")
    page.goto(f"{by_name(line)}/rooms/{ROOM}")
    expect(kept(page)).to_be_visible()
    expect_sent(page)
    stored = place.entries()
    assert place.parts() == [11, 12]
    last = max(datetime.fromisoformat(one["at"]) for one in stored)
    assert abs((last - touched).total_seconds()) < AGREES_S
    assert all(one["recorded_at"] > one["at"] for one in stored)


@pytest.mark.parametrize("days", [-1, 1])
def test_a_clock_that_is_wrong_by_a_day_dates_nothing(
    page: Any, place: Place, line: Line, days: int
) -> None:
    page.add_init_script(SET_AHEAD % (days * 86_400_000))
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    touched = place.now()
    log_in_gap(page, 11)
    line.becomes("whole")
    expect_sent(page)
    (stored,) = place.entries()
    assert abs((datetime.fromisoformat(stored["at"]) - touched).total_seconds()) < AGREES_S


def test_a_clock_that_is_set_in_a_gap_dates_nothing(page: Any, place: Place, line: Line) -> None:
    page.add_init_script(SET_AHEAD % 0)
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    page.evaluate("sessionStorage.aheadMs = 3 * 3_600_000")
    touched = place.now()
    log_in_gap(page, 11)
    line.becomes("whole")
    expect_sent(page)
    (stored,) = place.entries()
    assert abs((datetime.fromisoformat(stored["at"]) - touched).total_seconds()) < AGREES_S


def test_a_clock_that_was_set_before_a_restart_asks_when_it_was(
    page: Any, place: Place, line: Line
) -> None:
    page.add_init_script(SET_AHEAD % 0)
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    page.evaluate("sessionStorage.aheadMs = 3 * 3_600_000")
    touched = place.now()
    log_in_gap(page, 11)
    line.becomes("whole")
    page.goto(f"{by_name(line)}/rooms/{ROOM}")
    expect(kept(page)).to_contain_text("1 to answer", timeout=3 * PATIENCE_MS)
    assert place.stored() == 0
    lines = list_kept(page)
    expect(lines).to_contain_text("When did it happen?")
    lines.locator("[data-way=at]").click()
    expect_sent(page)
    (stored,) = place.entries()
    assert abs((datetime.fromisoformat(stored["at"]) - touched).total_seconds()) < AGREES_S


def test_a_tablet_that_slept_dates_by_its_clock_once_the_server_agrees(
    page: Any, serve: Any, tmp_path: Path, console_errors: list[str]
) -> None:
    """The clock that nobody sets stands still meanwhile: three hours pass on the other two."""
    place = next(serve_tanks(serve, tmp_path))
    page.add_init_script(SET_AHEAD % 0)
    open_wash(page, place)
    place.server.process.kill()
    page.evaluate("sessionStorage.aheadMs = 3 * 3_600_000")
    earliest = place.now() + timedelta(hours=3)
    log_in_gap(page, 11)
    latest = place.now() + timedelta(hours=3)
    serve_again(serve, place, timedelta(hours=3))
    expect_sent(page)
    (stored,) = place.entries()
    off = timedelta(seconds=AGREES_S)
    assert earliest - off < datetime.fromisoformat(stored["at"]) < latest + off
    console_errors.clear()


def test_two_tabs_send_each_entry_once(page: Any, place: Place, line: Line) -> None:
    other = page.context.new_page()
    for tab in (page, other):
        open_wash(tab, place, by_name(line))
    line.becomes("cut")
    for waiting, (tab, parts) in enumerate(((page, 11), (other, 12), (page, 13), (other, 14)), 1):
        tab.bring_to_front()
        log_in_gap(tab, parts, waiting)
    sent: list[str] = []
    page.context.on("request", lambda one: sent.append(one.method) if one.method == "POST" else 0)
    line.becomes("whole")
    for tab in (other, page):
        expect_sent(tab)
    assert place.parts() == [11, 12, 13, 14]
    assert sent == ["POST"] * 4
    other.close()


def test_a_doubt_that_comes_later_is_answered_on_a_page(
    page: Any, place: Place, line: Line
) -> None:
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    log_in_gap(page, 12)
    log_in_gap(page, 12, 2)
    log_in_gap(page, 15, 3)
    line.becomes("whole")
    expect(kept(page)).to_contain_text("Kept on this tablet: 1 to answer.", timeout=20_000)
    assert place.parts() == [12, 15]
    list_kept(page).get_by_role("button", name="Show").click()
    expect(page.locator("#doubts")).to_be_visible()
    expect(page.get_by_label(re.compile("^Parts"))).to_have_value("12")
    page.wait_for_timeout(SECOND_TOUCH_MS)
    page.get_by_role("button", name=re.compile("It is another one")).click()
    expect(toast(page)).to_contain_text("12 parts", timeout=3 * PATIENCE_MS)
    expect_sent(page)
    assert place.parts() == [12, 12, 15]


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_the_list_of_what_waits_can_be_used_by_all(
    new_page: Any, place: Place, line: Line, console_errors: list[str], scheme: str
) -> None:
    page = new_page(viewport={"width": 800, "height": 1280}, color_scheme=scheme)
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    log_in_gap(page, 12)
    log_in_gap(page, 12, 2)
    line.becomes("whole")
    expect(kept(page)).to_contain_text("1 to answer", timeout=20_000)
    button = page.get_by_role("button", name="What waits")
    button.press("Enter")
    expect(button).to_have_attribute("aria-expanded", "true")
    page.keyboard.press("Tab")
    expect(page.get_by_role("button", name="Show")).to_be_focused()
    page.get_by_role("button", name="Leave it out").press("Enter")
    assert page.evaluate(TOO_SMALL, ["#kept button", GLOVE_PX]) == []
    assert page.evaluate(OVERFLOWING) == []
    page.evaluate(AXE.read_text("utf-8"))
    assert page.evaluate(RUN, RULES) == []
    console_errors.clear()


def test_what_was_the_same_is_left(page: Any, place: Place, line: Line) -> None:
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    log_in_gap(page, 12)
    log_in_gap(page, 12, 2)
    line.becomes("whole")
    expect(kept(page)).to_contain_text("1 to answer", timeout=20_000)
    list_kept(page).get_by_role("button", name="Show").click()
    expect(page.locator("#doubts")).to_be_visible()
    page.get_by_label(re.compile("^Parts")).fill("-4")
    page.get_by_role("button", name="Save the wash").click()
    expect(page.locator("#problems")).to_be_visible()
    expect(kept(page)).to_contain_text("1 to answer")  # what does not fit either is still kept
    page.get_by_label(re.compile("^Parts")).fill("12")
    page.get_by_role("button", name="Save the wash").click()
    expect(page.locator("#doubts")).to_be_visible()
    page.wait_for_timeout(500)  # a second touch at once answers no question
    page.get_by_role("link", name=re.compile("It is the same")).click()
    expect_sent(page)
    assert place.parts() == [12]


def test_a_refusal_that_comes_later_shows_what_was_typed(
    page: Any, place: Place, line: Line
) -> None:
    """The room is archived meanwhile: nothing is entered until it is restored."""
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    log_in_gap(page, 12)
    archive(page, place, "archive")
    line.becomes("whole")
    expect(kept(page)).to_contain_text("1 to answer", timeout=20_000)
    archive(page, place, "restore")
    lines = list_kept(page)
    expect(lines).to_contain_text("archived")
    lines.get_by_role("button", name="Show").click()
    expect(page.locator("#problems")).to_contain_text("Not stored.")
    expect(page.get_by_label(re.compile("^Parts"))).to_have_value("12")
    expect(page.get_by_role("radio", name="Slate")).to_be_checked()
    assert place.stored() == 0
    page.get_by_role("button", name="Save the wash").click()
    expect(toast(page)).to_contain_text("12 parts", timeout=3 * PATIENCE_MS)
    expect_sent(page)
    assert place.stored() == 1


def archive(page: Any, place: Place, act: str) -> None:
    """Put the room out of use, or back, from another device."""
    address = f"{place.server.url}/rooms/{ROOM}/archive"
    sent = {"word": act, "by": "Sol", "room_name": "Test room", "reason": "Moved"}
    assert page.request.post(address, form=sent).ok


def test_an_entry_stays_its_makers_when_another_takes_the_tablet(
    page: Any, place: Place, line: Line
) -> None:
    say_who(page, line, "Wren")
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    log_in_gap(page, 12)
    expect(list_kept(page)).to_contain_text("Wren")
    page.context.add_cookies(
        [{"name": "person", "value": "Sol", "url": by_name(line), "sameSite": "Strict"}]
    )
    line.becomes("whole")
    expect_sent(page)
    (stored,) = place.entries()
    assert stored["by"] == "Wren"
    page.reload()
    expect(page.locator(".who")).to_contain_text("Sol")


def say_who(page: Any, line: Line, name: str) -> None:
    """Choose a name for this tablet."""
    page.goto(f"{by_name(line)}/rooms/{ROOM}/who")
    page.get_by_label("Another name").fill(name)
    page.get_by_role("button", name="Use this name").click()
    expect(page.locator(".who")).to_contain_text(name)


def test_what_is_left_out_is_not_sent(page: Any, place: Place, line: Line) -> None:
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    log_in_gap(page, 11)
    log_in_gap(page, 12, 2)
    lines = list_kept(page)
    lines.first.get_by_role("button", name="Leave it out").press("Enter")
    page.keyboard.press("Enter")  # the first of the two answers keeps it
    expect(lines).to_have_count(2)
    lines.first.get_by_role("button", name="Leave it out").click()
    lines.first.get_by_role("button", name="Delete it").click()
    expect(lines).to_have_count(1)
    line.becomes("whole")
    expect_sent(page)
    assert place.parts() == [12]


@pytest.mark.parametrize(
    "why",
    [
        "IDBObjectStore.prototype.add = () => { throw new DOMException('', 'QuotaExceededError') }",
        "IDBFactory.prototype.open = () => { throw new DOMException('', 'SecurityError') }",
    ],
)
def test_a_tablet_without_room_says_so_and_holds_the_form(
    page: Any, place: Place, line: Line, why: str
) -> None:
    page.add_init_script(why)
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    page.get_by_role("button", name="Save the wash").click()
    expect(page.get_by_text("Not sent. Your entry is still here.")).to_be_visible()
    expect(page.get_by_text("This tablet has no room to keep it")).to_be_visible()
    expect(page.get_by_label(re.compile("^Parts"))).to_have_value("12")
    line.becomes("whole")
    expect(toast(page)).to_contain_text("12 parts", timeout=3 * PATIENCE_MS)
    assert place.stored() == 1


def test_a_link_in_a_gap_leaves_the_page_as_it_is(page: Any, place: Place, line: Line) -> None:
    page.goto(f"{by_name(line)}/rooms/{ROOM}/tanks/{place.tank}")
    address = page.url
    line.becomes("cut")
    expect(page.get_by_text("No connection since")).to_be_visible(timeout=20_000)
    page.get_by_role("link", name="Log a wash").first.click()
    expect(page.get_by_text("No connection. This page stays as it is.")).to_be_visible()
    assert page.url == address
    line.becomes("whole")
    page.get_by_role("button", name="Load it again").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Log a wash")


def test_what_waits_for_another_room_is_named_and_not_mixed_in(
    page: Any, place: Place, line: Line
) -> None:
    open_wash(page, place, by_name(line))
    page.evaluate(
        """() => outbox.keep({ room: "attic", roomName: "Attic", state: "waiting", tries: 0,
            title: "Log a wash: A1", typed: ["9 parts"], by: "Sol", fields: [], key: "k",
            url: "/rooms/attic/tanks/a1/log/wash", page: "/rooms/attic/tanks/a1/log/wash" })"""
    )
    line.becomes("cut")
    log_in_gap(page, 12, 2)
    lines = list_kept(page)
    expect(lines.first).to_contain_text("12")
    expect(lines.last).to_have_text("Attic: 1")
    expect(kept(page).get_by_text("9 parts")).to_have_count(0)
    page.evaluate("indexedDB.deleteDatabase('outbox')")


def test_a_photo_of_twelve_megapixels_waits_through_a_restart(
    profile: Any, place: Place, line: Line, tmp_path: Path
) -> None:
    file = tmp_path / "part.jpg"
    file.write_bytes(photo("jpg", 6, 4000, 3000))
    page = profile()
    start_looking(page, f"{by_name(line)}/rooms/{ROOM}/tanks/{place.tank}")
    page.set_input_files("#f-photos", file)
    line.becomes("cut")
    page.locator(".step-bar").get_by_role("button", name="Save").click()
    expect(kept(page)).to_contain_text("1 waiting", timeout=2 * PATIENCE_MS)
    file.unlink()
    page = profile()
    line.becomes("whole")
    page.goto(f"{by_name(line)}/rooms/{ROOM}")
    for _ in range(40):  # the page shows nothing kept before it has looked what is
        if taken := entries_of(place.server, "inspection_photo"):
            break
        page.wait_for_timeout(500)
    expect_sent(page)
    assert len(taken) == 1
    view = page.request.get(f"{place.server.url}/rooms/{ROOM}/photos/{taken[0]['photo']}/view")
    assert view.ok
    assert view.headers["content-type"] == "image/jpeg"


@pytest.mark.nightly
def test_two_thousand_entries_of_a_weekend_arrive_once_and_in_order(
    page: Any, place: Place, line: Line
) -> None:
    open_wash(page, place, by_name(line))
    line.becomes("cut")
    log_in_gap(page, 1)
    page.evaluate(COPIES, MOST)
    line.becomes("whole")
    page.reload()
    expect(kept(page)).to_contain_text("waiting")
    expect(kept(page)).to_be_hidden(timeout=TWO_THOUSAND_MS)
    assert place.parts() == list(range(1, MOST + 1))
