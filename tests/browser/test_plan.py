"""A lead looks at the swaps ahead and puts one off, on a tablet."""

from datetime import date, timedelta
from typing import Any

import pytest

from tests.browser.places import SECOND_TOUCH_MS, say_who, toast

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


def days_ahead(page: Any, days: int) -> str:
    """A day so many days after the page's today."""
    today = page.locator("td.today time").get_attribute("datetime")
    return (date.fromisoformat(today) + timedelta(days=days)).isoformat()


def test_a_swap_is_put_off_once_its_cost_was_seen_and_taken_back(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    tablet.goto(demo)
    tablet.get_by_text("Menu", exact=True).tap()
    tablet.get_by_role("link", name="Swaps ahead").tap()
    expect(tablet.get_by_role("heading", name="Swaps ahead", level=1)).to_be_visible()
    later = days_ahead(tablet, 30)
    tablet.locator(".plan-calendar").get_by_role("link", name="Alder").first.tap()
    card = tablet.locator("#swap-alder")
    expect(card).to_be_in_viewport()
    card.get_by_role("link", name="Set the day, or put it off").tap()
    expect(tablet.get_by_role("heading", name="What postponing costs")).to_be_visible()
    tablet.get_by_role("radio", name="Not before this day").tap()
    tablet.locator("#f-day").fill(later)
    tablet.get_by_label("Reason").fill("Print run for the fair")
    say_who(tablet, "Lead who decides", "Curlew")
    tablet.get_by_role("button", name="Save").tap()
    expect(tablet.locator("#doubts")).to_contain_text("past its limit")
    console_errors.clear()  # the browser notes the status of the page that asks
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    tablet.get_by_role("button", name="Set this day anyway").tap()
    expect(toast(tablet)).to_contain_text("put off")
    expect(tablet.locator("#swap-alder")).to_contain_text("Print run for the fair")
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(toast(tablet)).to_contain_text("Taken back")
    expect(tablet.locator("#swap-alder")).not_to_contain_text("Print run for the fair")


def test_the_page_works_without_scripts_and_on_a_narrow_screen(new_page: Any, demo: str) -> None:
    page = new_page(java_script_enabled=False, viewport={"width": 800, "height": 1280})
    page.goto(f"{demo}/plan")
    expect(page.locator(".plan-calendar tbody tr")).not_to_have_count(0)
    page.get_by_role("link", name="13 weeks").click()
    expect(page.get_by_role("link", name="13 weeks")).to_have_attribute("aria-current", "true")


def test_on_paper_all_lines_stand_open(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/plan")
    folded = tablet.locator(".ready-rest:not([open]) td").first
    expect(folded).not_to_be_visible()
    tablet.emulate_media(media="print")
    for cell in tablet.locator(".ready-rest td").all():
        expect(cell).to_be_visible()
    assert folded.bounding_box()["height"] > 10
