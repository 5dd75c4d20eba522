"""Find anything in four keystrokes."""

from typing import Any

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser


def test_a_slash_and_three_letters_lead_to_a_tank(page: Any, demo: str) -> None:
    page.goto(f"{demo}/spend")
    for key in ("/", "c", "e", "d"):
        page.keyboard.press(key)
    first = page.locator("#menu-found a").first
    expect(first).to_contain_text("Cedar")
    page.keyboard.press("Tab")
    first.press("Enter")
    expect(page.get_by_role("heading", level=1)).to_contain_text("Cedar")


def test_a_slash_in_a_field_stays_a_slash(page: Any, demo: str) -> None:
    page.goto(f"{demo}/find")
    page.get_by_label("A tank, lot, drum").fill("")
    page.keyboard.press("/")
    expect(page.get_by_label("A tank, lot, drum")).to_have_value("/")
    assert page.locator("details.menu[open]").count() == 0


def test_without_a_script_the_form_leads_to_the_page(new_page: Any, demo: str) -> None:
    page = new_page(java_script_enabled=False)
    page.goto(f"{demo}/find")
    page.get_by_label("A tank, lot, drum").fill("alder")
    page.get_by_label("A tank, lot, drum").press("Enter")
    expect(page.locator(".found a").first).to_contain_text("Alder")
