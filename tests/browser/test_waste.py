"""A drum's life on a tablet: set up, poured into, labelled, closed, fetched."""

import re
from datetime import date, timedelta
from typing import Any

import pytest

from app.clock import utc_now
from app.domain.calendar_words import day_words
from tests.browser.tablets import SECOND_TOUCH_MS

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


def set_up(page: Any, demo: str, name: str) -> None:
    """A drum of 55 L for spent isopropanol in the central area."""
    page.goto(f"{demo}/waste")
    page.get_by_role("link", name="New drum").tap()
    page.get_by_label("Name", exact=True).fill(name)
    page.get_by_label(re.compile("^Capacity")).fill("55")
    page.get_by_role("radio", name="Central area").check()
    page.get_by_role("button", name="Set up the drum").tap()
    expect(page.get_by_role("heading", level=1)).to_have_text(name)


def pickup_day() -> date:
    """A working day after the contractor's notice and before the drum's last."""
    day = (utc_now() + timedelta(days=24)).date()
    return day + timedelta(days=1) if day.isoweekday() == 7 else day


def say_yes(page: Any, console_errors: list[str]) -> None:
    """A pour of no tank is asked about, since the room has another solvent too."""
    page.get_by_role("button", name="Save the pour").click()
    expect(page.get_by_role("alert")).to_contain_text("No tank is named.")
    page.wait_for_timeout(SECOND_TOUCH_MS)
    page.get_by_role("button", name="Yes, store it").click()
    assert all("422" in one for one in console_errors), console_errors
    console_errors.clear()


def test_a_drum_is_filled_closed_booked_and_fetched(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    set_up(tablet, demo, "Journey 1")
    tablet.get_by_role("link", name="Pour into it").tap()
    tablet.get_by_label(re.compile("^Before")).first.fill("8")
    tablet.get_by_label(re.compile("^After")).first.fill("32.4")
    preview = tablet.locator("#preview")
    expect(preview).to_contain_text("24.4 kg")
    expect(preview).to_contain_text("after it of")
    say_yes(tablet, console_errors)
    expect(tablet.locator(".figure").first).to_contain_text("24 kg")
    tablet.get_by_text("Close it for shipping").tap()
    tablet.get_by_label(re.compile("^Contents cool")).check()
    tablet.get_by_role("button", name="Close the drum").tap()
    expect(tablet.get_by_role("link", name="Pour into it")).to_have_count(0)
    tablet.get_by_role("link", name="Book a pickup").tap()
    day = pickup_day()
    tablet.get_by_label("Day", exact=True).fill(day.isoformat())
    tablet.get_by_label("Licensed contractor").fill("Marl Waste Carriers")
    tablet.get_by_label(re.compile("^Journey 1,")).check()
    tablet.get_by_role("button", name="Book the pickup").tap()
    tablet.get_by_role("link", name=day_words(day)).first.tap()
    tablet.get_by_label("Document number").fill("LM-9001")
    tablet.get_by_role("button", name="Save the shipment").tap()
    expect(tablet.locator(".lead")).to_contain_text("document LM-9001")
    tablet.get_by_role("button", name="The signed copy is here").tap()
    expect(tablet.locator(".tag")).to_have_text("Closed")


def test_too_much_is_refused_before_it_is_saved_and_kept_in_the_form(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    set_up(tablet, demo, "Journey 2")
    tablet.get_by_role("link", name="Pour into it").tap()
    tablet.get_by_label(re.compile("^Or the volume")).fill("50")
    expect(tablet.locator("#preview")).to_contain_text("room for 49.5 L")
    tablet.get_by_role("button", name="Save the pour").tap()
    expect(tablet.locator("#problems")).to_contain_text("room for 49.5 L")
    expect(tablet.get_by_label(re.compile("^Or the volume"))).to_have_value("50")
    [refusal] = console_errors  # the browser notes the status of the page that refuses
    assert "422" in refusal
    console_errors.clear()


def test_a_pour_works_without_scripts(new_page: Any, demo: str, console_errors: list[str]) -> None:
    page = new_page(java_script_enabled=False)
    page.goto(f"{demo}/waste/drums/d-05/pour")
    page.get_by_label("Or the volume").fill("2")
    page.get_by_role("button", name="Work it out only").click()
    expect(page.locator("#preview")).to_contain_text("2.00 L")
    say_yes(page, console_errors)
    expect(page.get_by_text("Saved.")).to_be_visible()
    expect(page.locator("tbody tr").first).to_contain_text("2.00 L")
