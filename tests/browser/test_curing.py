"""Curing on a tablet: a new lamp from its set-up to the first cure, undone, and what is refused."""

import re
from pathlib import Path
from typing import Any

import pytest

from tests.browser.places import SECOND_TOUCH_MS, as_lead, toast

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser

AXE = Path(__file__).parent / "vendor/axe-core-4.14.1/axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]
RUN = """async (RULES) => {
  const result = await axe.run(document, { runOnly: RULES });
  return result.violations.map((v) => [v.id, v.nodes.map((n) => n.target.join(' ')).join(', ')]);
}"""


def refused(console_errors: list[str], times: int) -> None:
    """The browser noted so many refused forms, and nothing else."""
    assert len(console_errors) == times
    assert all("422" in line for line in console_errors)
    console_errors.clear()


def set_up(page: Any, demo: str, name: str) -> None:
    """A station of that name, lit at 405 nm, with its first reading of 20 mW/cm2."""
    with as_lead(page, demo):
        page.goto(f"{demo}/stations/new")
        page.get_by_label("Name", exact=True).fill(name)
        page.get_by_label("Wavelength").fill("405")
        page.get_by_label("Chamber temperature").fill("60")
        page.get_by_label("Longest exposure").fill("30")
        page.get_by_role("button", name="Set up the station").tap()
        expect(page.get_by_role("heading", level=1)).to_have_text(name)
    page.get_by_role("link", name="Radiometer reading").tap()
    page.get_by_label("Centre").fill("22")
    for corner in ("Back left", "Back right", "Front left", "Front right"):
        page.get_by_label(corner).fill("19,5")
    page.get_by_role("button", name="Save the reading").tap()
    expect(toast(page)).to_contain_text("Saved: Measured the light in")


def test_from_a_new_station_to_a_cure_and_back(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    set_up(tablet, demo, "Test chamber one")
    expect(tablet.locator("body")).to_contain_text("20.0 mW/cm²")
    tablet.get_by_role("link", name="Cure parts").first.tap()
    tablet.get_by_role("link", name=re.compile("Larkmoor Slate.*8 min 31 s")).tap()
    # 9000 mJ/cm2 at the 19.5 mW/cm2 of the corners are 461.5 s. Its meter: 5 % of any hand meter,
    # 2 % of its certificate, in quadrature (JCGM 100, 5.1.2), twice that: 10.8 % more, 511 s.
    expect(tablet.locator(".cure-figure")).to_contain_text("8 min 31 s")
    tablet.get_by_label("Part lot").fill("L9001")
    tablet.locator("label.tile", has_text="Not washed here").tap()
    tablet.get_by_role("button", name="Save the cure").tap()
    expect(tablet.locator("#doubts")).to_contain_text("Interlock test overdue: Test chamber one")
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    tablet.get_by_role("button", name="Yes, store it").tap()
    expect(toast(tablet)).to_contain_text("L9001")
    expect(toast(tablet)).to_contain_text("at least 9,002 mJ/cm²")
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(toast(tablet)).to_contain_text("Taken back: Cured")
    refused(console_errors, 1)


def test_a_value_that_cannot_be_is_named_beside_its_field(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    set_up(tablet, demo, "Test chamber two")
    tablet.get_by_role("link", name="Radiometer reading").tap()
    tablet.get_by_label("Centre").fill("0")
    tablet.get_by_label("Front left").fill("0,0")
    tablet.get_by_role("button", name="Save the reading").tap()
    expect(tablet.locator("#e-centre_mw_cm2")).to_contain_text("hold the station")
    expect(tablet.get_by_label("Front left")).to_have_value("0,0")
    tablet.get_by_label("Centre").fill("205")
    tablet.get_by_label("Front left").fill("195")
    tablet.get_by_role("button", name="Save the reading").tap()
    expect(tablet.locator("#doubts")).to_contain_text("Is this right?")
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    tablet.get_by_role("button", name="It was W/m²: store 20.00 mW/cm²").tap()
    expect(toast(tablet)).to_contain_text(": centre 20.5 mW/cm²")
    refused(console_errors, 2)


def test_a_reading_set_right_by_keyboard_is_stored_as_it_is_typed(
    new_page: Any, demo: str, console_errors: list[str]
) -> None:
    page = new_page()
    page.goto(f"{demo}/stations/drawer/log/reading")
    page.get_by_label("Centre").fill("117")
    page.get_by_label("Centre").press("Enter")
    expect(page.locator("#doubts")).to_contain_text("times the")
    page.evaluate(AXE.read_text("utf-8"))
    assert page.evaluate(RUN, RULES) == []
    page.get_by_label("Centre").press("Enter")  # answers nothing
    expect(page.locator("#doubts")).to_be_visible()
    page.get_by_label("Centre").fill("11.7")  # another value: the question is gone
    expect(page.locator("#doubts")).to_have_count(0)
    page.get_by_label("Centre").press("Enter")
    expect(toast(page)).to_contain_text(": centre 11.7 mW/cm²")
    refused(console_errors, 1)


def test_a_reading_set_aside_stands_on_the_page_and_the_card_and_can_be_taken_back(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    set_up(tablet, demo, "Test chamber three")
    tablet.get_by_role("link", name="Radiometer reading").tap()
    tablet.get_by_label("Centre").fill("205")
    tablet.get_by_role("button", name="Save the reading").tap()
    expect(tablet.locator("#doubts")).to_be_visible()
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    tablet.get_by_role("button", name="Yes, store it").tap()
    expect(toast(tablet)).to_contain_text("Saved, and set aside")
    notice = tablet.locator(".reading-aside")
    expect(notice).to_contain_text("Cure times use 20 mW/cm², as measured before.")
    expect(notice.get_by_role("link", name="A lead says why")).to_be_visible()
    tablet.evaluate(AXE.read_text("utf-8"))
    assert tablet.evaluate(RUN, RULES) == []
    tablet.goto(f"{demo}/stations")
    card = tablet.locator(".station-card", has_text="Test chamber three")
    expect(card).to_contain_text("The last reading is set aside.")
    card.tap()
    notice.get_by_role("link", name="A lead says why").tap()
    expect(tablet.get_by_role("radio", name="205 mW/cm²")).to_be_checked()
    tablet.get_by_role("radio", name="Curlew").check(force=True)
    tablet.get_by_label("Why it counts").fill("Another head, compared with ours")
    tablet.get_by_role("button", name="Let it count").tap()
    expect(toast(tablet)).to_contain_text("et a reading of Test chamber three count")
    expect(notice).to_have_count(0)
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(notice).to_contain_text("Cure times use 20 mW/cm²")
    refused(console_errors, 1)


def test_a_new_lamp_from_its_relamp_to_its_first_time(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    set_up(tablet, demo, "Test chamber four")
    tablet.get_by_role("link", name="Relamp").tap()
    tablet.get_by_label("Part or lot").fill("Array 8")
    tablet.get_by_role("button", name="Save the relamp").tap()
    expect(toast(tablet)).to_contain_text("Saved: Put a new lamp in")
    expect(tablet.locator("body")).to_contain_text("Without it, no time is shown")
    tablet.get_by_role("link", name="Cure parts").first.tap()
    expect(tablet.get_by_role("link", name=re.compile("Larkmoor Slate.*not there"))).to_be_visible()
    tablet.go_back()
    tablet.get_by_role("link", name="Radiometer reading").tap()
    tablet.get_by_label("Centre").fill("25")
    tablet.get_by_role("button", name="Save the reading").tap()
    tablet.get_by_role("link", name="Cure parts").first.tap()
    # 9000 mJ/cm2 at 25 mW/cm2 are 360 s.
    tablet.get_by_role("link", name=re.compile("Larkmoor Slate.*6 min")).tap()
    expect(tablet.locator(".cure-figure")).to_contain_text("6 min")
    assert console_errors == []


def test_a_held_station_takes_no_cure(tablet: Any, demo: str, console_errors: list[str]) -> None:
    set_up(tablet, demo, "Test chamber five")
    tablet.get_by_role("link", name="Hold the station").tap()
    tablet.get_by_label("Another reason, in your own words").fill(
        "Lamp stays on with the door open"
    )
    tablet.locator("label.tile", has_text="Dunlin").tap()
    tablet.get_by_role("button", name="Hold the station").tap()
    expect(tablet.locator(".hold-notice")).to_contain_text("Do not cure here.")
    expect(tablet.get_by_role("link", name="Cure parts")).to_have_count(0)
    tablet.goto(f"{demo}/cure?resin=slate")
    refused_one = tablet.locator(".cure-refused", has_text="Test chamber five")
    expect(refused_one).to_contain_text("It is held: Lamp stays on with the door open.")
    assert console_errors == []


def test_a_station_too_weak_says_why(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/cure?resin=opal")
    refused = tablet.locator(".cure-refused", has_text="Drawer")
    expect(refused).to_contain_text("12 or more")
    expect(refused.get_by_role("link", name="To the station")).to_be_visible()


def test_the_curve_has_its_figures_in_words(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/stations/lamp-house-1")
    picture = tablet.get_by_role("img", name=re.compile("^Output of Lamp House 1"))
    expect(picture).to_be_visible()
    projected = tablet.locator(".lamp-projected")
    assert projected.evaluate("e => getComputedStyle(e).strokeDasharray") != "none"
    tested = tablet.locator(".lamp-curve > .t-line")
    assert tested.evaluate("e => getComputedStyle(e).strokeDasharray") == "none"
    expect(tablet.get_by_role("columnheader", name="Projected")).to_be_visible()


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_forms_with_faults_break_no_rule(
    new_page: Any, demo: str, scheme: str, console_errors: list[str]
) -> None:
    page = new_page(color_scheme=scheme)
    for path, button in (
        ("stations/lamp-house-1/log/reading", "Save the reading"),
        ("cure/recipes/slate", "Save the recipe"),
    ):
        page.goto(f"{demo}/{path}")
        page.locator("form.form").evaluate("form => form.noValidate = true")
        for field in page.locator("input[inputmode=decimal]").all():
            field.fill("-1")
        page.get_by_role("button", name=button).click()
        expect(page.locator("#problems")).to_be_visible()
        page.evaluate(AXE.read_text("utf-8"))
        assert page.evaluate(RUN, RULES) == [], path
    refused(console_errors, 2)
