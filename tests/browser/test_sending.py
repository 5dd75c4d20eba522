"""A form is kept on the tablet until the server has answered, and what it says is stored once."""

import re
from pathlib import Path
from typing import Any

import pytest

from tests.browser.places import SECOND_TOUCH_MS, toast
from tests.browser.tablets import (
    HOSTS,
    PATIENCE_MS,
    Place,
    kept,
    open_wash,
    serve_again,
    serve_tanks,
    start_looking,
)
from tests.factories import ROOM
from tests.gaps import Line
from tests.photos import photo

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("state", ["cut", "mute", "one-way"])
def test_a_wash_in_a_gap_is_kept_and_stored_once(
    page: Any, place: Place, line: Line, host: str, state: Any
) -> None:
    open_wash(page, place, f"http://{host}:{line.port}")
    line.becomes(state)
    page.get_by_role("button", name="Save the wash").click()
    expect(kept(page)).to_contain_text("1 waiting", timeout=2 * PATIENCE_MS)
    expect(page.get_by_label(re.compile("^Parts"))).to_have_value("")
    line.becomes("whole")
    expect(kept(page)).to_be_hidden(timeout=3 * PATIENCE_MS)
    assert place.stored() == 1
    assert page.url.endswith("/log/wash")


def test_a_server_that_is_away_is_waited_for(
    page: Any, serve: Any, tmp_path: Path, console_errors: list[str]
) -> None:
    """It ends before the touch and is started anew: the entry goes out by itself, and once."""
    place = next(serve_tanks(serve, tmp_path))
    open_wash(page, place)
    place.server.process.kill()
    page.get_by_role("button", name="Save the wash").click()
    expect(kept(page)).to_contain_text("1 waiting", timeout=2 * PATIENCE_MS)
    expect(kept(page)).to_contain_text("Sent automatically once the connection is back")
    expect(page.get_by_text("No connection since")).to_be_visible(timeout=20_000)
    serve_again(serve, place)
    expect(kept(page)).to_be_hidden(timeout=3 * PATIENCE_MS)
    expect(page.get_by_text("No connection since")).to_have_count(0)
    assert place.stored() == 1
    console_errors.clear()


def test_what_is_typed_after_a_touch_is_not_sent_unasked(
    page: Any, place: Place, line: Line
) -> None:
    open_wash(page, place, f"http://127.0.0.1:{line.port}")
    line.becomes("cut")
    page.get_by_role("button", name="Save the wash").click()
    expect(kept(page)).to_contain_text("1 waiting")
    page.get_by_role("radio", name="Slate").check()
    page.get_by_label(re.compile("^Parts")).fill("14")
    line.becomes("whole")
    expect(kept(page)).to_be_hidden(timeout=2 * PATIENCE_MS)
    assert place.parts() == [12]
    page.get_by_role("button", name="Save the wash").click()
    expect(toast(page)).to_contain_text("14 parts")
    assert place.parts() == [12, 14]


def test_a_form_that_was_taken_says_so_when_the_next_page_does_not_come(
    page: Any, place: Place, line: Line
) -> None:
    open_wash(page, place, f"http://127.0.0.1:{line.port}")
    page.route("**/tanks/*?saved=*", lambda route: route.abort())
    page.get_by_role("button", name="Save the wash").click()
    expect(page.get_by_text("Stored. The next page does not load.")).to_be_visible()
    expect(page.get_by_role("button", name="Load it again")).to_be_visible()
    page.unroute("**/tanks/*?saved=*")
    expect(toast(page)).to_contain_text("12 parts")
    assert place.stored() == 1


def test_what_does_not_fit_is_said_beside_its_field_with_what_was_typed(
    page: Any, place: Place, console_errors: list[str]
) -> None:
    open_wash(page, place)
    page.get_by_label(re.compile("^Parts")).fill("-3")
    page.get_by_role("button", name="Save the wash").click()
    expect(page.locator("#problems")).to_be_in_viewport()
    expect(page.get_by_label(re.compile("^Parts"))).to_have_value("-3")
    page.get_by_label(re.compile("^Parts")).fill("3")
    page.get_by_role("button", name="Save the wash").click()
    expect(toast(page)).to_contain_text("3 parts")
    page.go_back()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Log a wash")
    console_errors.clear()  # the browser notes the status of the page that asks


def test_a_conflict_leaves_the_page_as_it_is(
    page: Any, place: Place, console_errors: list[str]
) -> None:
    """The same key with other values: what an older touch stored stands."""
    open_wash(page, place)
    key = page.locator("form.form input[name=submission]").input_value()
    sent = {"resin": "slate", "parts": "5", "submission": key}
    assert page.request.post(page.url, form=sent).ok
    page.get_by_role("button", name="Save the wash").click()
    expect(page.get_by_text("Not stored.")).to_be_visible()
    expect(page.get_by_text("already sent with other values")).to_be_visible()
    expect(page.get_by_label(re.compile("^Parts"))).to_have_value("12")
    page.get_by_role("button", name="Close", exact=True).click()
    expect(page.get_by_text("Not stored.")).to_be_hidden()
    assert place.stored() == 1
    console_errors.clear()


def test_without_a_script_the_form_goes_as_a_plain_one(new_page: Any, place: Place) -> None:
    plain = new_page(java_script_enabled=False)
    open_wash(plain, place)
    plain.get_by_role("button", name="Save the wash").click()
    expect(toast(plain)).to_contain_text("12 parts")


def test_enter_saves_a_reading_and_answers_no_question(
    page: Any, place: Place, console_errors: list[str]
) -> None:
    address = f"{place.server.url}/rooms/{ROOM}/tanks/{place.tank}/log/reading?method=hydrometer"
    page.goto(address)
    page.get_by_label(re.compile("^Density")).fill("0.788")
    temperature = page.get_by_label(re.compile("temperature", re.IGNORECASE))
    temperature.fill("20")
    temperature.press("Enter")
    expect(toast(page)).to_contain_text("Saved: Measured")
    page.goto(address)
    page.get_by_label(re.compile("^Density")).fill("0.860")
    temperature.fill("20")
    temperature.press("Enter")
    expect(page.locator("#doubts")).to_be_in_viewport()
    expect(page.get_by_role("button", name="Save the reading")).to_be_hidden()
    temperature.press("Enter")
    page.wait_for_timeout(500)
    assert place.stored("reading") == 1
    page.get_by_role("button", name="Change it").click()
    expect(page.locator("#doubts")).to_have_count(0)
    expect(page.get_by_label(re.compile("^Density"))).to_have_value("0.860")
    page.get_by_role("button", name="Save the reading").click()
    page.wait_for_timeout(SECOND_TOUCH_MS)
    page.get_by_role("button", name="Yes, store it").click()
    expect(toast(page)).to_contain_text("Saved: Measured")
    assert place.stored("reading") == 2
    console_errors.clear()


def test_the_streams_of_pages_that_were_left_are_closed(page: Any, place: Place) -> None:
    """Six open streams are all that a browser allows a server: a page must take its own along."""
    page.goto(f"{place.server.url}/rooms/{ROOM}/tanks/{place.tank}/log/wash")
    for parts in range(11, 19):
        page.get_by_role("radio", name="Slate").check()
        page.get_by_label(re.compile("^Parts")).fill(str(parts))
        page.get_by_role("button", name="Save the wash").click()
        expect(toast(page)).to_contain_text(f"{parts} parts")
        page.get_by_role("link", name="Another wash").click()
    assert place.stored() == 8


def test_a_photo_in_a_gap_goes_out_with_its_form_and_once(
    page: Any, place: Place, line: Line, tmp_path: Path
) -> None:
    """The file that was chosen stays chosen, and arrives whole."""
    file = tmp_path / "part.jpg"
    file.write_bytes(photo("jpg", 6, 1600, 1200))
    tank = f"http://127.0.0.1:{line.port}/rooms/{ROOM}/tanks/{place.tank}"
    start_looking(page, tank)
    page.set_input_files("#f-photos", file)
    line.becomes("one-way")
    page.locator(".step-bar").get_by_role("button", name="Save").click()
    expect(kept(page)).to_contain_text("1 waiting", timeout=4 * PATIENCE_MS)
    assert page.locator("#f-photos").evaluate("(one) => one.files.length") == 1
    line.becomes("whole")
    photos = page.locator(".photo-row img")
    expect(photos.first).to_be_visible(timeout=4 * PATIENCE_MS)
    expect(photos).to_have_count(1)
