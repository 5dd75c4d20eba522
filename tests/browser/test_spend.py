"""What the manager does on Monday: the week, its entries, a case, the sheet of paper."""

import io
import re
from datetime import datetime
from typing import Any

import pytest

from app.clock import VARIABLE
from tests.days import ahead_s

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


def test_a_number_of_the_week_opens_into_its_entries(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/spend")
    expect(tablet.get_by_role("heading", level=1)).to_contain_text(re.compile("Week .* cost"))
    consumed = tablet.get_by_role("row", name=re.compile("^Consumed"))
    amount = consumed.get_by_role("link").inner_text()
    consumed.get_by_role("link").tap()
    expect(tablet.get_by_role("heading", level=1)).to_contain_text(amount)
    tablet.locator("table th a").first.tap()
    expect(tablet).to_have_url(re.compile("/entries/"))


def test_a_bar_is_reached_by_the_keyboard_says_its_value_and_opens_its_week(
    tablet: Any, demo: str
) -> None:
    tablet.goto(f"{demo}/spend")
    bar = tablet.locator(".spend-bars a").nth(4)
    words = bar.get_attribute("aria-label")
    assert re.fullmatch(r"\d{4}-W\d\d: .*\d.*", words)
    bar.focus()
    tablet.keyboard.press("Enter")
    expect(tablet.get_by_role("heading", level=1)).to_contain_text(words.split(":")[0])


def test_cases_are_worked_out_and_kept_and_the_address_opens_them_again(
    tablet: Any, demo: str, new_page: Any, console_errors: list[str]
) -> None:
    tablet.goto(f"{demo}/spend/what-if")
    case = tablet.get_by_role("group", name="Case A")
    case.get_by_label(re.compile("^Name")).fill("Later")
    case.get_by_label(re.compile("^Swap limit")).fill("12")
    tablet.locator("#cases").get_by_role("button", name="Work it out").tap()
    expect(tablet.get_by_role("columnheader", name="A: Later")).to_be_visible()
    other = new_page()
    other.goto(tablet.url)
    expect(other.get_by_role("columnheader", name="A: Later")).to_be_visible()
    other.get_by_role("button", name="Keep case A").click()
    other.get_by_role("button", name="I am Heron: store it").click()
    assert all("422" in line for line in console_errors)  # asked for a lead, as the browser tells
    console_errors.clear()
    expect(other.get_by_role("status")).to_contain_text("Kept as “")
    expect(other.get_by_role("link", name="Later")).to_be_visible()


@pytest.mark.parametrize(
    "page,marks",
    [("", ".spend-bars a"), ("/ahead", ".spend-hover"), ("/balance", ".spend-hover")],
)
def test_values_of_every_chart_show_by_pointer_and_by_keyboard(
    page_of_manager: Any, demo: str, page: str, marks: str
) -> None:
    manager = page_of_manager
    manager.goto(f"{demo}/spend{page}")
    mark = manager.locator(marks).first
    value = mark.locator(".spend-value")
    expect(value).to_be_hidden()
    mark.hover()
    expect(value).to_be_visible()
    manager.mouse.move(0, 0)
    expect(value).to_be_hidden()
    manager.locator(marks).nth(1).focus()
    manager.keyboard.press("Shift+Tab")  # as by the keyboard: only then the focus is shown
    expect(value).to_be_visible()
    said = mark.get_attribute("aria-label")
    assert value.text_content().split(":")[-1].strip() in said


def test_every_part_of_where_the_solvent_went_is_reached_by_the_pointer_on_any_day(
    page_of_manager: Any, serve: Any, day: str
) -> None:
    """On some days a part is a tenth of a litre of hundreds: a sliver."""
    server = serve("demo", variables={VARIABLE: ahead_s(datetime.fromisoformat(day))})
    for span in (1, 13, 52):
        page_of_manager.goto(f"{server.url}/rooms/larkmoor/spend/balance?span={span}")
        for part in page_of_manager.locator(".spend-hover").all():
            part.scroll_into_view_if_needed()
            box = part.locator(".flow-reach").bounding_box()
            assert box["width"] > 40
            page_of_manager.mouse.move(box["x"] + box["width"] / 2, box["y"] + box["height"] / 2)
            expect(part.locator(".spend-value")).to_be_visible()
            assert page_of_manager.locator(".spend-value:visible").count() == 1
    server.stop()


@pytest.fixture
def page_of_manager(new_page: Any) -> Any:
    """A page of a desk."""
    return new_page(viewport={"width": 1280, "height": 800})


def test_what_comes_next_stands_on_the_first_screen(page_of_manager: Any, demo: str) -> None:
    page_of_manager.goto(f"{demo}/spend")
    words = page_of_manager.locator("#spend-next")
    expect(words).to_contain_text(re.compile("this week .* should end at about .*, next week at"))
    for part in (words, page_of_manager.locator(".spend-why"), page_of_manager.locator("h1")):
        box = part.bounding_box()
        assert box["y"] + box["height"] < 800


@pytest.mark.parametrize("week", ["", "?week=dearest"])
def test_the_week_prints_on_one_page(tablet: Any, demo: str, week: str) -> None:
    """The last week, and the dearest of the thirteen, which has the longest tables."""
    tablet.goto(f"{demo}/spend")
    if week:
        heights = [float(bar.get_attribute("height")) for bar in tablet.locator(".spend-bar").all()]
        dearest = tablet.locator(".spend-bars a").nth(heights.index(max(heights)))
        tablet.goto(demo.split("/rooms", maxsplit=1)[0] + dearest.get_attribute("href"))
    expect(tablet.locator("#spend-next")).to_contain_text("should end")
    made = tablet.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", made)) == 1
    [box] = re.findall(rb"/MediaBox\s*\[0 0 ([\d.]+) ([\d.]+)\]", made)
    assert [round(float(side)) for side in box] == [595, 842]  # A4, ISO 216, in points
    assert io.BytesIO(made).read(4) == b"%PDF"
