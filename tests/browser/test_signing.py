"""Signing in on a shared tablet: a tile, the keys of a PIN, quick switch, what was typed kept."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.browser.test_accessibility import AXE, RULES, RUN
from tests.factories import ROOM, furnish
from tests.furnished import new_store
from tests.running import RunningServer

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = [pytest.mark.browser, pytest.mark.ordered]

STANDING = {"width": 800, "height": 1280}
LEAST_KEY_PX = 88  # 15 mm on a tablet of 10 inches
PASSWORD = "four plain words here"
PINS = {"Kim": "8302", "Lee": "9355"}


@pytest.fixture(scope="module")
def site(serve: Callable[..., RunningServer], tmp_path_factory: pytest.TempPathFactory) -> Any:
    """A server with sign-in on, at its first start."""
    folder: Path = tmp_path_factory.mktemp("people") / "data"
    store = new_store(folder)
    furnish(store, tanks=2)
    store.close()
    return serve("serve", "--sign-in", "on", data_dir=folder)


@pytest.fixture
def tablet(new_page: Any) -> Any:
    """A tablet in a stand, that is touched."""
    return new_page(viewport=STANDING, has_touch=True)


def look(page: Any) -> None:
    """The rules of axe-core, and nothing wider than the page."""
    page.evaluate(AXE.read_text("utf-8"))
    assert page.evaluate(RUN, RULES) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def touch_pin(page: Any, pin: str) -> None:
    keys = page.locator("[data-pin-keys]")
    for digit in pin:
        keys.get_by_role("button", name=digit, exact=True).tap()
    keys.get_by_role("button", name="Go").tap()


def tile(page: Any, name: str) -> Any:
    return page.locator(".people-tiles").get_by_role("button", name=name)


def test_the_first_manager_adds_people(page: Any, site: RunningServer) -> None:
    code = site.log.read_text().rpartition("and type ")[2].split()[0]
    page.goto(site.url)
    page.get_by_role("link", name="Make the first manager").click()
    look(page)
    page.get_by_label("Code").fill(code)
    page.get_by_label("Your name").fill("Ada")
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Make the manager").click()
    for name, role, pin in (("Kim", "Technician", "4071"), ("Lee", "Lead", "6914")):
        page.get_by_label("Name", exact=True).fill(name)
        page.get_by_role("radio", name=role).check(force=True)
        page.locator("#f-secret").fill(pin)
        page.get_by_role("button", name="Add", exact=True).click()
        expect(page.locator(".people-list")).to_contain_text(name)
    page.locator(".people-list summary").first.click()
    look(page)


@pytest.mark.parametrize("name, first", [("Kim", "4071"), ("Lee", "6914")])
def test_each_chooses_a_pin_of_their_own(
    tablet: Any, site: RunningServer, name: str, first: str
) -> None:
    tablet.goto(f"{site.url}/rooms/{ROOM}")
    look(tablet)
    tile(tablet, name).tap()
    expect(tablet.get_by_role("heading", level=1)).to_have_text(name)
    look(tablet)
    touch_pin(tablet, first)
    expect(tablet.get_by_role("heading", level=1)).to_have_text("Your PIN")
    look(tablet)
    tablet.get_by_label("Current PIN or password").fill(first)
    tablet.get_by_label("New PIN or password", exact=True).fill(PINS[name])
    tablet.get_by_label("New PIN or password again").fill(PINS[name])
    tablet.get_by_role("button", name="Change it").tap()
    expect(tablet.locator("a.who")).to_contain_text(name)


def test_a_tile_and_a_pin_in_a_few_touches_and_quick_switch(
    tablet: Any, site: RunningServer, console_errors: list[str]
) -> None:
    tablet.goto(f"{site.url}/rooms/{ROOM}")
    tile(tablet, "Kim").tap()
    for key in tablet.locator("[data-pin-keys] button").all():
        box = key.bounding_box()
        assert min(box["width"], box["height"]) >= LEAST_KEY_PX
    expect(tablet.get_by_role("button", name="Sign in")).to_be_hidden()
    touch_pin(tablet, "0000")
    expect(tablet.get_by_role("alert").first).to_have_text("That is not right. Try again.")
    look(tablet)
    assert all("422" in one for one in console_errors)
    console_errors.clear()
    touch_pin(tablet, PINS["Kim"])
    expect(tablet.locator("a.who")).to_contain_text("Kim")
    assert tablet.url == f"{site.url}/rooms/{ROOM}"
    tablet.locator("a.who").tap()
    expect(tablet.get_by_role("heading", name="Who is here?")).to_be_visible()
    look(tablet)
    tile(tablet, "Lee").tap()
    touch_pin(tablet, PINS["Lee"])
    expect(tablet.locator("a.who")).to_contain_text("Lee")


def test_without_a_script_the_pin_is_typed(new_page: Any, site: RunningServer) -> None:
    plain = new_page(viewport=STANDING, java_script_enabled=False)
    plain.goto(f"{site.url}/rooms/{ROOM}")
    tile(plain, "Kim").click()
    plain.get_by_label("PIN").fill(PINS["Kim"])
    plain.get_by_role("button", name="Sign in").click()
    expect(plain.locator("a.who")).to_contain_text("Kim")


def test_what_was_typed_when_a_session_ended_is_offered_again(
    new_page: Any, site: RunningServer, console_errors: list[str]
) -> None:
    """Without a script, as on a tablet whose script failed; with one the page keeps its form."""
    plain = new_page(viewport=STANDING, java_script_enabled=False)
    plain.goto(f"{site.url}/rooms/{ROOM}/tanks/t1/hold")
    tile(plain, "Kim").click()
    plain.get_by_label("PIN").fill(PINS["Kim"])
    plain.get_by_role("button", name="Sign in").click()
    plain.get_by_label("Another reason, in your own words").fill("Cracked lid")
    plain.context.clear_cookies(name="sign_in")
    plain.get_by_role("button", name="Hold").first.click()
    expect(plain.locator(".lead")).to_contain_text("What you typed is kept")
    assert all("401" in one for one in console_errors)
    console_errors.clear()
    tile(plain, "Kim").click()
    plain.get_by_label("PIN").fill(PINS["Kim"])
    plain.get_by_role("button", name="Sign in").click()
    expect(plain.locator("main")).to_contain_text("Cracked lid")
    plain.get_by_role("button", name="Send it as Kim").click()
    expect(plain.locator("body")).to_contain_text("Held")


def test_a_tablet_that_is_left_alone_shows_the_tiles_unless_somebody_is_typing(
    tablet: Any, site: RunningServer
) -> None:
    tablet.clock.install()
    tablet.goto(f"{site.url}/rooms/{ROOM}/tanks/t1/hold")
    tile(tablet, "Kim").tap()
    touch_pin(tablet, PINS["Kim"])
    expect(tablet.locator("a.who")).to_contain_text("Kim")
    tablet.clock.fast_forward("29:00")
    expect(tablet.locator("a.who")).to_contain_text("Kim")
    tablet.clock.fast_forward("01:10")
    expect(tablet.get_by_role("heading", level=1)).to_have_text("Who is here?")
    tablet.goto(f"{site.url}/rooms/{ROOM}/tanks/t2/hold")
    tablet.get_by_label("Another reason, in your own words").fill("Cracked lid")
    tablet.clock.fast_forward("40:00")
    expect(tablet.get_by_label("Another reason, in your own words")).to_have_value("Cracked lid")


def test_a_manager_signs_in_with_the_enter_key(page: Any, site: RunningServer) -> None:
    page.goto(f"{site.url}/people")
    tile(page, "Ada").click()
    page.get_by_label("Password").fill(PASSWORD)
    page.keyboard.press("Enter")
    expect(page.locator("a.who")).to_contain_text("Ada")
    assert page.url == f"{site.url}/people"
    page.locator(".people-list summary").nth(1).click()
    look(page)
