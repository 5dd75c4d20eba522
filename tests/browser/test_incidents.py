"""A leak, from the touch on Problem to the lead's release, on a tablet with a gloved hand."""

import re
from typing import Any
from urllib.request import Request, urlopen

import pytest

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser

TANK = "cedar"


def enter(demo: str, **entry: str) -> None:
    """Store an entry as a program does."""
    import json

    origin, _, room = demo.rpartition("/rooms/")
    request = Request(
        f"{origin}/api/v1/rooms/{room}/entries", json.dumps(entry).encode(),
        {"Content-Type": "application/json"},
    )  # fmt: skip
    with urlopen(request) as answer:
        assert answer.status == 201


def test_a_leak_holds_the_tank_until_a_lead_releases_it(
    tablet: Any, demo: str, console_errors: list[str]
) -> None:
    enter(demo, kind="crew_member", crew="crew", name="Curlew", role="lead", by="Heron")
    tablet.goto(f"{demo}/tanks/{TANK}")
    tablet.get_by_role("link", name="Problem").tap()
    tablet.get_by_role("link", name=re.compile("^Leak")).tap()
    expect(tablet.locator(".cautions li")).to_have_count(5)
    expect(tablet.get_by_label("Tank", exact=True)).to_have_value(TANK)
    tablet.get_by_label("What was done").fill("Pump stopped, tray under it")
    tablet.locator("label.tile", has_text="Somewhere else").tap()
    tablet.get_by_role("button", name="Save the record").tap()
    expect(tablet.get_by_text("Saved. Next: what is left to do.")).to_be_visible()
    expect(tablet.get_by_text("Held", exact=True)).to_be_visible()
    follow_up = tablet.locator(".follow-ups li").nth(2)
    follow_up.get_by_role("radio", name="Dunlin", exact=True).check()
    follow_up.get_by_role("button", name=re.compile("^Done")).tap()
    expect(tablet.locator(".follow-ups li").nth(2)).to_contain_text("Dunlin")
    expect(tablet.locator(".follow-ups .is-done")).to_have_count(1)

    tablet.goto(demo)
    column = tablet.locator(f'a.tank[href$="/tanks/{TANK}"]')
    expect(column).to_contain_text("Held")
    column.tap()
    expect(tablet.get_by_text("Do not wash here.")).to_be_visible()
    expect(tablet.get_by_role("button", name="Wash as last")).to_have_count(0)
    tablet.get_by_role("link", name="Held: why, and release").tap()
    tablet.locator("label.tile", has_text="Curlew").tap()
    tablet.get_by_label(re.compile("^What you checked")).fill("Seal replaced, dry for ten minutes")
    tablet.get_by_role("button", name="Release the tank").tap()
    expect(tablet.get_by_text("Do not wash here.")).to_have_count(0)
    assert console_errors == []


def test_without_scripts_it_works_as_well(new_page: Any, demo: str) -> None:
    page = new_page(java_script_enabled=False)
    page.goto(demo)
    page.get_by_role("link", name="Problem").click()
    page.get_by_role("link", name=re.compile("^Spill")).click()
    page.get_by_label(re.compile("^Who was there")).fill("Dunlin")
    page.get_by_role("button", name="Save the record").click()
    expect(page.get_by_text("Saved. Next: what is left to do.")).to_be_visible()
    expect(page.get_by_text("Dunlin").first).to_be_visible()


def unfold(page: Any) -> None:
    """Open all that is due besides the three that stand first."""
    page.evaluate("document.querySelectorAll('.duty-rest').forEach((one) => { one.open = true; })")


def test_a_duty_is_done_by_one_touch_and_taken_back_by_another(tablet: Any, demo: str) -> None:
    tablet.goto(f"{demo}/duties")
    row = tablet.locator(".duty", has_text="Eyewash run")
    unfold(tablet)
    row.get_by_role("button", name=re.compile("^Done")).tap()
    expect(tablet.get_by_role("status").get_by_text("Saved.")).to_be_visible()
    expect(row).to_contain_text("Last just now")
    tablet.get_by_role("button", name="Undo").tap()
    expect(row).not_to_contain_text("just now")


GUIDES = ("fire", "drum_warm")


@pytest.mark.parametrize("guide", GUIDES)
def test_what_to_do_is_printed_alone_and_reached_by_keys(page: Any, demo: str, guide: str) -> None:
    """On paper the number and the cautions; by keys the call first, then the holds, by name."""
    page.goto(f"{demo}/problem/{guide}")
    call = page.locator(".emergency a.call")
    assert (call.get_attribute("href") or "").startswith("tel:")
    reached = []
    for _ in range(8):
        page.keyboard.press("Tab")
        reached.append(page.evaluate("document.activeElement.innerText.trim()"))
    number = call.inner_text()
    holds = [one for one in reached if one.startswith(("Hold", "Quarantine"))]
    assert number in reached
    assert holds
    assert reached.index(number) < reached.index(holds[0])
    page.emulate_media(media="print")
    expect(page.locator(".emergency")).to_be_visible()
    expect(page.locator(".caution-line").first).to_be_visible()
    expect(page.locator("form.record-form")).to_be_hidden()
    expect(page.locator("form.one-touch")).to_be_hidden()
