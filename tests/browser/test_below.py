"""The program below a path of a reverse proxy, in a browser: nothing asks outside of the path."""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from app.clock import VARIABLE as CLOCK
from tests.browser.places import toast
from tests.browser.tablets import expect_sent, fill_wash, kept
from tests.days import ahead_s
from tests.factories import NOW, ROOM, furnish
from tests.furnished import new_store
from tests.proxy import Proxy

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser
AT = "/site/baths"


@pytest.fixture(params=[False, True], ids=["as they are", "taken off"])
def proxy(request: pytest.FixtureRequest, serve: Any, tmp_path: Path) -> Iterator[Proxy]:
    """A proxy before a furnished room."""
    store = new_store(tmp_path)
    furnish(store)
    store.close()
    variables = {CLOCK: ahead_s(NOW), "BATHKEEPER_AT": AT}
    server = serve("serve", data_dir=tmp_path, variables=variables)
    made = Proxy(server.url, AT, request.param)
    yield made
    made.close()
    server.stop()


def test_a_wash_is_logged_and_another_page_hears_of_it(
    proxy: Proxy, page: Any, new_page: Any
) -> None:
    """Links, a form sent by script, the live page of another tablet, the theme, the menu."""
    room = f"{proxy.url}{AT}/rooms/{ROOM}"
    watching = new_page(viewport={"width": 1280, "height": 800})
    watching.goto(f"{room}/tanks/t1")
    page.goto(f"{proxy.url}{AT}/")
    page.goto(room)
    page.locator("a[href$='/tanks/t1']").first.click()
    expect(page).to_have_url(re.compile(f"{room}/tanks/t1"))
    page.goto(f"{room}/tanks/t1/log/wash")
    fill_wash(page, 12)
    page.get_by_role("button", name="Save the wash").click()
    expect(toast(page)).to_contain_text("12 parts")
    expect(watching.get_by_text("12 parts").first).to_be_visible(timeout=20_000)
    assert page.url.startswith(room)
    assert page.evaluate("typeof htmx") == "object"
    assert page.evaluate("getComputedStyle(document.body).fontFamily").startswith('"Atkinson')
    assert proxy.outside == []


def test_what_the_tablet_kept_is_sent_below_the_path(
    proxy: Proxy, page: Any, console_errors: list[str]
) -> None:
    room = f"{proxy.url}{AT}/rooms/{ROOM}"
    page.goto(f"{room}/tanks/t1/log/wash")
    fill_wash(page, 7)
    page.context.set_offline(True)
    page.get_by_role("button", name="Save the wash").click()
    expect(kept(page)).to_contain_text("1 waiting", timeout=20_000)
    page.context.set_offline(False)
    expect_sent(page)
    listed = page.request.get(f"{proxy.url}{AT}/api/v1/rooms/{ROOM}/entries?kind=wash").json()
    assert [one["entry"]["parts"] for one in listed["entries"]].count(7) == 1
    assert proxy.outside == []
    console_errors.clear()  # the browser tells of what it could not send
