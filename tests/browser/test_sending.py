"""A form stays on the screen until the server has answered, and what it says is stored once."""

import json
import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from app.clock import VARIABLE as CLOCK
from tests.browser.places import toast
from tests.factories import NOW, ROOM, furnish, new_store
from tests.gaps import Line
from tests.running import RunningServer

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser

UNSENT = "Not sent. Your entry is still here."
PATIENCE_MS = 8_000
"""How long the page waits for an answer; with as much again for a busy machine."""
HOSTS = ["127.0.0.1", "room.test"]
"""The second is no secure context (W3C Secure Contexts): there is no crypto.randomUUID."""


@pytest.fixture
def server(serve: Any, tmp_path: Path) -> RunningServer:
    """A server of a room with one tank."""
    store = new_store(tmp_path)
    furnish(store)
    store.close()
    variables = {
        "BATHKEEPER_HOSTS": ",".join(HOSTS),
        CLOCK: (NOW + timedelta(minutes=1)).isoformat(),
    }
    started: RunningServer = serve("serve", data_dir=tmp_path, variables=variables)
    return started


@pytest.fixture
def line(server: RunningServer, page: Any, console_errors: list[str]) -> Iterator[Line]:
    """A line to that server, for the page."""
    made = Line(int(server.url.rpartition(":")[2]))
    yield made
    made.close()
    page.goto("about:blank")
    console_errors.clear()  # the browser tells of each request that was not answered


def stored(server: RunningServer, kind: str = "wash") -> int:
    """How many entries of a kind are stored and count."""
    with urlopen(f"{server.url}/api/v1/rooms/{ROOM}/entries?kind={kind}&limit=200") as answer:
        return len(json.load(answer)["entries"])


def open_wash(page: Any, address: str) -> None:
    """The form of a wash, filled in."""
    page.goto(f"{address}/rooms/{ROOM}/tanks/t1/log/wash")
    page.get_by_role("radio", name="Slate").check()
    page.get_by_label(re.compile("^Parts")).fill("12")


def expect_unsent(page: Any) -> None:
    """The page says that nothing arrived, and the form stands as it was typed."""
    expect(page.get_by_text(UNSENT)).to_be_visible(timeout=2 * PATIENCE_MS)
    expect(page.get_by_label(re.compile("^Parts"))).to_have_value("12")
    expect(page.get_by_role("radio", name="Slate")).to_be_checked()
    assert page.url.startswith("http")


@pytest.mark.parametrize("host", HOSTS)
@pytest.mark.parametrize("state", ["cut", "mute", "one-way"])
def test_a_wash_in_a_gap_stays_on_the_screen_and_is_stored_once(
    page: Any, server: RunningServer, line: Line, host: str, state: Any
) -> None:
    open_wash(page, f"http://{host}:{line.port}")
    line.becomes(state)
    page.get_by_role("button", name="Save the wash").click()
    if state != "cut":
        expect(page.get_by_text("Sending")).to_be_visible()
    expect_unsent(page)
    line.becomes("whole")
    if state == "mute":
        page.get_by_role("button", name="Send again").click()
    expect(toast(page)).to_contain_text("12 parts", timeout=2 * PATIENCE_MS)
    assert stored(server) == 1
    assert page.url.split("?")[0].endswith("/tanks/t1")
