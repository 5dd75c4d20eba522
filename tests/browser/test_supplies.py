"""The shelf on a tablet: hand out, count through, order, receive."""

import re
from typing import Any

import pytest

from tests.browser.places import toast

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


def add(page: Any, demo: str, name: str, start: str) -> str:
    """An item of this test's own, with so many pairs on the shelf; its page's address."""
    page.goto(f"{demo}/shelf/new")
    page.get_by_label(re.compile("^Name")).fill(name)
    page.get_by_label(re.compile("^Usual supplier")).fill(f"{name} Supply")
    page.get_by_role("button", name="Add the item").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text(name)
    address = page.url
    page.get_by_role("link", name="Received", exact=True).tap()
    page.get_by_label(re.compile("^How much")).fill(start)
    page.get_by_label(re.compile("^Lot")).fill("T1")
    page.get_by_role("button", name="Put it on the shelf").tap()
    expect(page.locator(".figure")).to_contain_text(f"{start} pairs on hand")
    return str(address)


def test_gloves_are_handed_out_in_two_touches_and_taken_back(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Test gloves", "40")
    tablet.goto(address)  # as the code on the shelf opens it
    tablet.get_by_role("button", name="1 pairs more").tap()
    tablet.get_by_role("button", name="Save the use").tap()
    expect(toast(tablet)).to_contain_text("Saved: stock used 2 pairs, handed out")
    expect(tablet.locator(".figure")).to_contain_text("38 pairs")
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(toast(tablet)).to_contain_text("Taken back")
    expect(tablet.locator(".figure")).to_contain_text("40 pairs")


def test_a_use_of_more_than_there_is_says_so_and_keeps_what_was_typed(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    address = add(tablet, demo, "Few gloves", "3")
    tablet.goto(address)
    tablet.get_by_label(re.compile("^How much")).fill("30")
    tablet.get_by_role("button", name="Save the use").tap()
    expect(tablet.locator("#e-quantity")).to_contain_text("The books have 3 pairs on the shelf")
    expect(tablet.get_by_label(re.compile("^How much"))).to_have_value("30")
    [refusal] = console_errors  # the browser notes the status of the page that asks
    assert "422" in refusal
    console_errors.clear()


def test_the_shelf_is_counted_item_by_item(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Counted gloves", "20")
    tablet.goto(f"{demo}/shelf")
    tablet.get_by_role("link", name="Count the shelf").tap()
    heading = tablet.get_by_role("heading", level=1)
    expect(heading).to_have_text("Counted gloves")  # by place: what has none comes first
    tablet.get_by_label(re.compile("^What lies there")).fill("17")
    tablet.get_by_role("button", name="Next").tap()
    expect(heading).not_to_have_text("Counted gloves")
    tablet.get_by_role("button", name="Skip").tap()
    expect(tablet.locator(".count-where")).to_contain_text("item 3 of")
    expect(tablet.locator(".count-where")).to_contain_text("1 counted")
    tablet.get_by_role("button", name="See the differences now").tap()
    expect(heading).to_have_text("Differences of the count")
    line = tablet.locator("tr", has_text="Counted gloves")
    expect(line).to_contain_text("-3 pairs")
    tablet.get_by_role("button", name="Save the count").tap()
    expect(heading).to_have_text("Shelf")
    tablet.goto(address)
    expect(tablet.locator(".figure")).to_contain_text("17 pairs")


def test_an_order_is_placed_and_comes_in_parts(tablet: Any, demo: str) -> None:
    address = add(tablet, demo, "Ordered gloves", "5")
    tablet.goto(f"{demo}/shelf/orders?show=all")
    group = tablet.locator("form.order-group", has_text="Ordered gloves Supply")
    group.locator("label.check", has_text="Ordered gloves").tap()
    group.get_by_label(re.compile("^Quantity")).fill("60")
    group.get_by_role("button", name="I ordered the ticked items").tap()
    expect(tablet.get_by_role("group", name=re.compile("60 pairs to come"))).to_be_visible()
    tablet.get_by_label(re.compile("^Came")).fill("25")
    tablet.get_by_role("button", name="Put it on the shelf").tap()
    expect(tablet.get_by_role("group", name=re.compile("35 pairs to come of 60"))).to_be_visible()
    tablet.goto(address)
    expect(tablet.locator(".figure")).to_contain_text("30 pairs on hand, 35 pairs on order")
