"""A tank's page stands open at the wash station: it says what a touch did, asks in place, and puts
right what was wrong; what other devices save does not disturb it."""

import json
import re
from typing import Any
from urllib.request import Request, urlopen

import pytest

from tests.browser.places import SECOND_TOUCH_MS, board_tank, log_lines

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser

HEARD_MS = 5000


def enter(demo: str, **entry: Any) -> str:
    """Store an entry as another device does; its id."""
    origin, _, room = demo.rpartition("/rooms/")
    request = Request(
        f"{origin}/api/v1/rooms/{room}/entries", json.dumps(entry).encode(),
        {"Content-Type": "application/json"},
    )  # fmt: skip
    with urlopen(request) as answer:
        return str(json.loads(answer.read())["ids"][0])


def is_wren(page: Any, demo: str) -> None:
    """This tablet knows who holds it."""
    page.context.add_cookies([{"name": "person", "value": "Wren", "url": demo}])


def percent(page: Any) -> float:
    """The saturation that stands large."""
    found = re.search(r"([\d.]+) %", page.locator(".figure").inner_text())
    assert found
    return float(found[1])


def test_a_touch_stores_moves_the_figure_and_stays(tablet: Any, demo: str) -> None:
    is_wren(tablet, demo)
    tablet.goto(f"{demo}/tanks/elder")
    before, last = percent(tablet), tablet.locator(".stand-last li").first.inner_text()
    main = tablet.get_by_role("button", name=re.compile("^Wash as last"))
    expect(main).to_contain_text("as Wren")
    load = main.locator("b").inner_text()
    main.tap()
    expect(tablet.locator(".receipt")).to_contain_text("Saved: Wren washed")
    expect(tablet.get_by_role("heading", level=1)).to_contain_text("Elder")
    assert percent(tablet) > before
    expect(tablet.locator(".figure-was")).to_contain_text(re.compile(r"\d\.\d"))
    assert float(tablet.locator(".vessel .slice").first.get_attribute("height").rstrip("%")) > 0
    first = tablet.locator(".stand-last li").first
    expect(first).to_contain_text("just now")
    assert first.inner_text() != last
    assert load.split(",")[0] in first.inner_text()
    tablet.get_by_role("button", name="Undo").tap()
    expect(tablet.locator(".receipt")).to_contain_text("Taken back: Wren washed")
    assert percent(tablet) == pytest.approx(before, abs=0.05)


def test_the_same_twice_is_asked_about_where_the_button_was(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    is_wren(tablet, demo)
    tablet.goto(f"{demo}/tanks/dogwood")
    main = tablet.locator(".stand-main")
    main.tap()
    expect(tablet.locator(".receipt")).to_contain_text("Saved")
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    place = main.bounding_box()
    main.tap()
    asked = tablet.locator("#doubts")
    expect(asked).to_contain_text("A second one, or the same one?")
    same = tablet.get_by_role("link", name=re.compile("It is the same"))
    other = tablet.get_by_role("button", name=re.compile("It is another one"))
    for answer in (same, other):
        assert answer.bounding_box()["y"] >= place["y"] + place["height"] - 1
    assert same.bounding_box()["width"] == pytest.approx(other.bounding_box()["width"], abs=1)
    count = log_lines(tablet).count()
    tablet.keyboard.press("Enter")
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    expect(asked).to_be_visible()
    same.tap()
    expect(asked).to_have_count(0)
    expect(tablet.get_by_role("heading", level=1)).to_contain_text("Dogwood")
    assert log_lines(tablet).count() == count
    console_errors.clear()  # the browser notes the status of the page that asks


def test_what_others_save_leaves_a_question_standing(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    is_wren(tablet, demo)
    tablet.goto(f"{demo}/tanks/alder")
    tablet.locator(".stand-main").tap()
    expect(tablet.locator(".receipt")).to_contain_text("Saved")
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    tablet.locator(".stand-main").tap()
    asked = tablet.locator("#doubts")
    expect(asked).to_contain_text("A second one, or the same one?")
    with tablet.expect_response(lambda answer: answer.url.partition("?")[0].endswith("/alder")):
        enter(demo, kind="wash", tank="alder", resin="slate", parts=43, by="Curlew")
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    expect(asked).to_be_visible()
    tablet.get_by_role("button", name=re.compile("It is another one")).tap()
    expect(tablet.locator(".receipt")).to_contain_text("Saved")
    expect(tablet.locator(".stand-last")).to_contain_text("43 parts")
    console_errors.clear()


def test_who_it_is_comes_first_and_stays(tablet: Any, demo: str, console_errors: list[str]) -> None:
    tablet.goto(f"{demo}/tanks/alder")
    tablet.locator(".stand-loads button").last.tap()
    expect(tablet.locator("#doubts")).to_contain_text("Who are you?")
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    tablet.locator(".who-choices").get_by_role("button", name="Curlew").tap()
    expect(tablet.locator(".receipt")).to_contain_text("Saved: Curlew washed")
    expect(tablet.locator(".stand-main")).to_contain_text("as Curlew")
    console_errors.clear()


def test_fix_takes_two_touches_and_the_first_key_overwrites(tablet: Any, demo: str) -> None:
    is_wren(tablet, demo)
    enter(demo, kind="wash", tank="alder", resin="slate", parts=44, by="Wren")
    tablet.goto(f"{demo}/tanks/alder")
    row = tablet.locator(".stand-last li", has_text="44 parts")
    row.get_by_role("link", name=re.compile("^Fix")).tap()
    parts = tablet.get_by_label(re.compile("^Parts"))
    expect(parts).to_be_focused()
    keys = tablet.get_by_role("group", name="Number keys")
    for digit in "12":
        keys.get_by_role("button", name=digit, exact=True).tap()
    expect(parts).to_have_value("12")
    keys.get_by_role("button", name="Save").tap()
    expect(tablet.locator(".receipt")).to_contain_text(re.compile("Corrected: .*12 parts"))
    expect(tablet.locator(".stand-last")).not_to_contain_text("44 parts")


def test_what_another_device_saves_disturbs_nothing(page: Any, demo: str) -> None:
    page.goto(f"{demo}/tanks/dogwood")
    page.wait_for_timeout(500)  # the stream is open
    page.get_by_role("navigation", name="Span").get_by_text("90 days").click()
    expect(page.locator("#trend [aria-current]")).to_have_text("90 days")
    page.locator("details.more").last.locator("summary").click()
    page.locator(".log-list a").nth(3).focus()
    mine = page.evaluate_handle("document.activeElement")
    place, said = mine.bounding_box(), mine.inner_text()
    assert page.evaluate("scrollY") > 200
    enter(demo, kind="wash", tank="dogwood", resin="opal", parts=7, by="Heron")
    expect(page.locator(".log-list li").first).to_contain_text("7 parts", timeout=HEARD_MS)
    assert mine.evaluate("(one) => one === document.activeElement && one.isConnected")
    assert mine.inner_text() == said
    assert mine.bounding_box()["y"] == pytest.approx(place["y"], abs=1)
    expect(page.locator("#trend [aria-current]")).to_have_text("90 days")
    assert page.locator("details.more").last.evaluate("(one) => one.open")


def test_nothing_changes_under_a_finger(page: Any, demo: str) -> None:
    page.goto(f"{demo}/tanks/dogwood")
    page.wait_for_timeout(500)
    last = page.locator(".stand-last li").first
    box = page.locator(".stand-partner").first.bounding_box()
    page.mouse.move(box["x"] + 5, box["y"] + 5)
    page.mouse.down()
    enter(demo, kind="wash", tank="dogwood", resin="opal", parts=3, by="Heron")
    page.wait_for_timeout(2500)
    expect(last).not_to_contain_text("3 parts")
    page.mouse.move(5, 5)
    page.mouse.up()
    expect(last).to_contain_text("Heron washed 3 parts", timeout=HEARD_MS)


def test_an_open_fold_stays_open_and_the_board_follows(new_page: Any, demo: str) -> None:
    board, page = new_page(), new_page()
    board.goto(demo)
    page.goto(f"{demo}/tanks/alder")
    page.wait_for_timeout(500)
    fold = page.locator(".stand-other")
    fold.locator("summary").click()
    enter(demo, kind="wash", tank="alder", resin="slate", parts=2, by="Heron")
    expect(page.locator(".stand-last")).to_contain_text("Heron washed 2 parts", timeout=HEARD_MS)
    expect(board_tank(board, "alder")).to_contain_text("Wash just now", timeout=HEARD_MS)
    assert fold.evaluate("(one) => one.open")


def test_the_wall_is_read_from_three_metres_and_is_loud_when_the_server_is_gone(
    new_page: Any, demo: str, console_errors: list[str]
) -> None:
    """16 minutes of arc at 3 m are 14 mm of capitals (ISO 9241-303): 50.5 px on 24 inches of 1920
    px; capitals of this type are 0.668 of its size."""
    page = new_page(viewport={"width": 1920, "height": 1080})
    page.goto(f"{demo}/wall")
    sizes = page.evaluate(
        """() => [...document.querySelectorAll('#wall p, #wall h1, #wall time')]
          .filter((one) => one.textContent.trim())
          .map((one) => parseFloat(getComputedStyle(one).fontSize))"""
    )
    assert len(sizes) > 10
    assert min(sizes) >= 76
    assert page.locator("#wall a, #wall button").count() == 0
    assert page.evaluate("document.documentElement.scrollWidth") <= 1920
    page.context.set_offline(True)
    lost = page.get_by_role("alert").filter(has_text="Server lost")
    expect(lost).to_be_visible(timeout=20_000)
    assert lost.bounding_box()["height"] >= 0.45 * 1080
    expect(page.locator(".wall-days").first).to_be_hidden()
    page.context.set_offline(False)
    expect(lost).to_have_count(0, timeout=20_000)
    console_errors.clear()


def test_the_wall_does_not_grow(new_page: Any, demo: str) -> None:
    page = new_page(viewport={"width": 1920, "height": 1080})
    page.goto(f"{demo}/wall")
    session = page.context.new_cdp_session(page)
    session.send("Performance.enable")

    def measured(updates: int) -> dict[str, float]:
        page.evaluate(
            """async (updates) => {
              for (let one = 0; one < updates; one += 1) {
                document.getElementById('live').dispatchEvent(new CustomEvent('room-changed'));
                await new Promise((done) => {
                  document.addEventListener('htmx:after:swap', done, { once: true });
                });
              }
            }""",
            updates,
        )
        session.send("HeapProfiler.collectGarbage")
        found = session.send("Performance.getMetrics")["metrics"]
        return {one["name"]: one["value"] for one in found}

    first, later = measured(20), measured(80)
    for name in ("JSHeapUsedSize", "Nodes", "JSEventListeners"):
        assert later[name] <= 1.2 * first[name] + 50, name
