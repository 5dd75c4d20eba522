"""Two people hand a shift over on two tablets: a note, both signatures, and one sheet of paper."""

from typing import Any

import pytest

from tests.browser.test_station import HEARD_MS, enter

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser


def is_held_by(page: Any, address: str, name: str) -> None:
    """This tablet knows who holds it."""
    page.context.add_cookies([{"name": "person", "value": name, "url": address}])


def test_a_shift_is_handed_over(new_page: Any, demo: str) -> None:
    wren, dunlin = new_page(has_touch=True), new_page(has_touch=True)
    is_held_by(wren, demo, "Wren")
    is_held_by(dunlin, demo, "Dunlin")
    dunlin.goto(f"{demo}/hand-over")
    wren.goto(demo)
    wren.locator(".menu > summary").tap()
    wren.get_by_role("link", name="Hand over the shift").tap()
    expect(wren.locator(".shift-tanks li")).to_have_count(6)

    wren.get_by_role("link", name="Add a note").tap()
    wren.locator("#f-text").fill("The lid of Alder sticks")
    wren.get_by_role("button", name="Save the note").tap()
    expect(wren.locator(".toast")).to_contain_text("Wren left a note for the next shift")
    note = dunlin.locator(".shift-notes li", has_text="The lid of Alder sticks")
    expect(note).to_be_visible(timeout=HEARD_MS)

    wren.get_by_role("button", name="Hand over").tap()
    expect(wren.locator(".shift-signed")).to_contain_text("Wren handed over")
    take = dunlin.get_by_role("button", name="Take over")
    expect(take).to_contain_text("as Dunlin, I have read it", timeout=HEARD_MS)

    enter(demo, kind="wash", tank="elder", resin="slate", parts=3, by="Finch")
    expect(dunlin.locator(".shift-after")).to_contain_text("1 wash in Elder", timeout=HEARD_MS)
    take.tap()
    expect(dunlin.locator(".toast")).to_contain_text("Dunlin took over the room")
    expect(dunlin.locator("#sign")).to_contain_text("Hand over")
    note.get_by_role("button").tap()
    expect(dunlin.locator(".toast")).to_contain_text("Dunlin settled the note")
    expect(note).to_have_count(0)


def test_it_is_one_sheet_of_paper(new_page: Any, demo: str) -> None:
    page = new_page(viewport={"width": 800, "height": 1280})
    page.goto(f"{demo}/hand-over")
    expect(page.locator("[data-print]")).to_be_visible()
    page.emulate_media(media="print")
    page.set_viewport_size({"width": 718, "height": 1047})  # A4 without margins of 1 cm, 96 dpi
    assert page.evaluate("document.documentElement.scrollHeight") <= 1047
    expect(page.locator(".shift-signs")).to_be_hidden()
    expect(page.locator(".shift-paper").last).to_contain_text("Handed over")
