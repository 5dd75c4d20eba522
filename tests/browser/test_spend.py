"""What the manager does on Monday: the week, its entries, a case, the sheet of paper."""

import io
import re
from pathlib import Path
from typing import Any

import pytest

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
    tablet: Any, demo: str, new_page: Any
) -> None:
    tablet.goto(f"{demo}/spend/what-if")
    case = tablet.get_by_role("group", name="Case A")
    case.get_by_label(re.compile("^Name")).fill("Later")
    case.get_by_label(re.compile("^Swap limit")).fill("12")
    tablet.get_by_role("button", name="Work it out").tap()
    expect(tablet.get_by_role("columnheader", name="A: Later")).to_be_visible()
    other = new_page()
    other.goto(tablet.url)
    expect(other.get_by_role("columnheader", name="A: Later")).to_be_visible()
    other.get_by_role("button", name="Keep case A").click()
    expect(other.get_by_role("status")).to_contain_text("Kept under its name")
    expect(other.get_by_role("link", name="Later")).to_be_visible()


def test_the_week_prints_on_one_page(tablet: Any, demo: str, tmp_path: Path) -> None:
    tablet.goto(f"{demo}/spend")
    made = tablet.pdf(prefer_css_page_size=True)
    (tmp_path / "week.pdf").write_bytes(made)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", made)) == 1
    assert io.BytesIO(made).read(4) == b"%PDF"
