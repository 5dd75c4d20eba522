"""What people do at the tank, on a tablet with a gloved hand."""

import re
from typing import Any

import pytest

from tests.browser.places import SECOND_TOUCH_MS, board_tank, log_lines, saturation_percent, toast

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


def test_a_wash_as_last_takes_two_touches_and_can_be_taken_back(tablet: Any, demo: str) -> None:
    tablet.context.add_cookies([{"name": "person", "value": "Wren", "url": demo}])
    tablet.goto(demo)
    board_tank(tablet, "dogwood").tap()
    tablet.get_by_role("button", name="Wash as last").tap()
    expect(toast(tablet)).to_contain_text(re.compile("Saved: .*ashed"))
    first = log_lines(tablet).first
    expect(first).not_to_contain_text("corrected or withdrawn")
    toast(tablet).get_by_role("button", name="Undo").tap()
    expect(toast(tablet)).to_contain_text(re.compile("Taken back: .*ashed"))
    expect(tablet.locator(".log-list li.voided").first).to_contain_text("corrected or withdrawn")


def test_a_wash_by_parts_takes_three_touches_and_the_digits(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/tanks/alder/log/wash")
    tablet.get_by_label(re.compile("^Parts")).tap()
    keys = tablet.get_by_role("group", name="Number keys")
    for digit in "17":
        keys.get_by_role("button", name=digit, exact=True).tap()
    keys.get_by_role("button", name="Close the number keys").tap()
    expect(keys).to_have_count(0)
    tablet.get_by_role("button", name="Save the wash").tap()
    expect(toast(tablet)).to_contain_text("17 parts")
    expect(log_lines(tablet, "17 parts")).to_have_count(1)


def test_a_reading_is_converted_before_it_is_saved(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/tanks/elder/log/reading")
    tablet.get_by_role("navigation", name="Method").get_by_text("Hydrometer").tap()
    preview = tablet.locator("#preview")
    expect(preview).to_contain_text("appears here before you save")
    tablet.get_by_label(re.compile("^Density")).fill("0.7925")
    tablet.get_by_label(re.compile("temperature", re.IGNORECASE)).fill("20")
    expect(preview).to_contain_text("No bath of this solvent reads like this.")
    tablet.get_by_label(re.compile("^Density")).fill("0.9725")
    expect(preview).to_contain_text(re.compile(r"\d\.\d\s% resin by mass"))
    expect(preview).to_contain_text("The log says")


def test_an_implausible_reading_asks_again_and_is_kept_after_a_yes(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    tablet.goto(f"{demo}/tanks/elder/log/reading?method=hydrometer")
    tablet.get_by_label(re.compile("^Density")).fill("0.8600")
    tablet.get_by_label(re.compile("temperature", re.IGNORECASE)).fill("20")
    tablet.get_by_role("button", name="Save the reading").tap()
    expect(tablet.locator("#doubts")).to_contain_text("Is this right?")
    [refusal] = console_errors  # the browser notes the status of the page that asks
    assert "422" in refusal
    console_errors.clear()
    expect(tablet.get_by_label(re.compile("^Density"))).to_have_value("0.8600")
    tablet.wait_for_timeout(SECOND_TOUCH_MS)
    tablet.get_by_role("button", name="Yes, store it").tap()
    expect(toast(tablet)).to_contain_text(re.compile("Saved: .*easured"))
    expect(log_lines(tablet, "0.86 g/mL")).to_have_count(1)


def test_a_swap_empties_the_bath_and_its_withdrawal_brings_it_back(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/tanks/birch")
    before_percent = saturation_percent(tablet)
    tablet.get_by_role("link", name=re.compile("^Swap the bath")).tap()
    tablet.get_by_text("Already done? Enter it at once").tap()
    tablet.get_by_role("button", name="Complete the swap").tap()
    expect(toast(tablet)).to_contain_text(re.compile("Saved: .*wapped the bath of Birch"))
    assert saturation_percent(tablet) < before_percent / 5
    log_lines(tablet).filter(has=tablet.locator("b", has_text=re.compile("^Swap$"))).first.tap()
    tablet.get_by_text("Withdraw this entry").tap()
    tablet.get_by_role("button", name="Withdraw").tap()
    expect(tablet.get_by_role("heading", level=1)).to_contain_text("Birch")
    assert saturation_percent(tablet) == pytest.approx(before_percent, abs=0.2)


def test_a_correction_from_the_log_keeps_the_original(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/tanks/alder/log/wash")
    tablet.get_by_label(re.compile("^Parts")).fill("18")
    tablet.get_by_role("button", name="Save the wash").tap()
    log_lines(tablet, "18 parts").tap()
    tablet.get_by_role("link", name="Correct it").tap()
    tablet.get_by_label(re.compile("^Parts")).fill("8")
    tablet.get_by_role("button", name="Save the correction").tap()
    corrected = log_lines(tablet, "a correction").first
    expect(corrected).to_contain_text(re.compile(r"\b8 parts"))
    corrected.tap()
    history = tablet.locator(".history li")
    expect(history).to_have_count(2)
    expect(history.filter(has_text="18 parts")).to_contain_text("no longer counts")
    expect(history.filter(has_text=re.compile(r"\b8 parts"))).to_have_count(1)


def test_a_reject_takes_two_touches_at_the_tank(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/tanks/cedar")
    tablet.get_by_role("link", name=re.compile("Rejected parts$")).tap()
    tablet.get_by_role("button", name="Tacky").tap()
    expect(toast(tablet)).to_contain_text("tacky")


def test_the_other_tablet_sees_a_change_by_itself(new_page: Any, demo: str) -> None:
    """The room page hears of it by server-sent events; its own refresh comes only each minute."""
    watching, logging = new_page(), new_page()
    watching.goto(demo)
    expect(board_tank(watching, "alder").locator(".last")).not_to_be_empty()
    expect(board_tank(watching, "fir")).to_contain_text("Finish the swap")
    expect(watching.locator("#live")).to_be_attached()
    watching.wait_for_timeout(500)  # the stream is open
    watching.evaluate("document.documentElement.dataset.mark = 'not loaded anew'")
    logging.goto(f"{demo}/who")
    logging.get_by_role("button", name="Curlew").first.click()
    logging.goto(f"{demo}/tanks/fir/swap?view=problem")
    logging.get_by_role("link", name="Give up this swap").click()
    for question in logging.locator("fieldset.tiles").all():
        question.locator("label", has_text="Empty").click()
    logging.get_by_role("button", name="Give up this swap").click()
    expect(board_tank(watching, "fir")).not_to_contain_text("Finish the swap", timeout=5000)
    assert watching.evaluate("document.documentElement.dataset.mark") == "not loaded anew"


def test_touching_save_twice_counts_once(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/tanks/elder/log/wash")
    tablet.get_by_label(re.compile("^Parts")).fill("23")
    tablet.get_by_role("button", name="Save the wash").dblclick()
    tablet.wait_for_url(re.compile("saved="))  # stored; the page that says so takes its time
    expect(toast(tablet)).to_contain_text("23 parts")
    expect(log_lines(tablet, "23 parts")).to_have_count(1)


def test_two_touches_that_both_reach_the_server_count_once(new_page: Any, demo: str) -> None:
    """Without a script nothing holds the second touch back; the form's token does."""
    page = new_page(java_script_enabled=False)
    page.goto(f"{demo}/tanks/elder/log/wash")
    address = page.url
    page.get_by_label(re.compile("^Parts")).fill("29")
    token = page.locator("form.form input[name=submission]").get_attribute("value")
    resin = page.locator("input[name=resin][checked]").get_attribute("value")
    form = {"submission": token, "resin": resin, "parts": "29"}
    for _ in range(2):
        assert page.request.post(address, form=form).ok
    page.goto(f"{demo}/tanks/elder")
    expect(log_lines(page, "29 parts")).to_have_count(1)


def test_pages_work_without_scripts(new_page: Any, demo: str) -> None:
    page = new_page(java_script_enabled=False)
    page.goto(demo)
    board_tank(page, "alder").click()
    page.get_by_role("link", name="Another wash").click()
    page.get_by_label(re.compile("^Parts")).fill("31")
    page.get_by_role("button", name="Save the wash").click()
    expect(toast(page)).to_contain_text("31 parts")
    toast(page).get_by_role("button", name="Undo").click()
    expect(toast(page)).to_contain_text("Taken back")
    expect(log_lines(page, "31 parts").first).to_contain_text("corrected or withdrawn")
