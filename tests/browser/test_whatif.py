"""Four what-if cases: side by side on a tablet, a message beside its field, one sheet of paper."""

import re
from typing import Any

import pytest

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser

FOUR = (
    "a_name=Limit+12&a_limit_percent=12&b_name=Still&b_recovery_percent=70&b_recovery_per_l=0.4"
    "&c_name=Pairs&c_baths=paired"
)


def test_four_cases_fit_a_tablet_held_upright_and_print_on_one_page(
    new_page: Any, demo: str
) -> None:
    tablet = new_page(has_touch=True, viewport={"width": 800, "height": 1280})
    tablet.goto(f"{demo}/spend/what-if?{FOUR}")
    for title in ("As things are now", "A: Limit 12", "B: Still", "C: Pairs"):
        expect(tablet.get_by_role("columnheader", name=title)).to_be_visible()
    table = tablet.locator(".case-table")
    assert table.bounding_box()["width"] <= 800
    expect(tablet.get_by_text("fire, explosion and pressure hazard")).to_be_visible()
    made = tablet.pdf(prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b(?!s)", made)) == 1


def test_the_cheapest_case_comes_first_and_the_link_opens_the_same(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/spend/what-if?{FOUR}")
    tablet.get_by_role("link", name="Cheapest first").tap()
    heads = tablet.locator(".case-table thead th.amount")
    expect(heads.nth(1)).to_contain_text("B: Still")
    tablet.goto(tablet.get_by_label(re.compile("^This link opens")).input_value())
    expect(heads.nth(1)).to_contain_text("B: Still")
