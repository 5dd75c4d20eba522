"""A page says so when its server is gone, keeps what was typed, and is live again afterwards."""

import re
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from app.clock import VARIABLE
from tests.days import ahead_s
from tests.factories import NOW, ROOM, furnish
from tests.furnished import new_store
from tests.running import free_port

pytestmark = pytest.mark.browser


def test_a_lost_connection_shows_keeps_what_was_typed_and_goes(
    serve: Any, page: Any, console_errors: list[str], tmp_path: Path
) -> None:
    store = new_store(tmp_path)
    furnish(store)
    store.close()
    port = free_port()
    variables = {VARIABLE: ahead_s(NOW)}
    server = serve("serve", data_dir=tmp_path, port=port, variables=variables)
    page.goto(f"{server.url}/rooms/{ROOM}/tanks/t1/log/wash")
    page.get_by_role("radio", name="Slate").check()
    page.get_by_label(re.compile("^Parts")).fill("12")
    server.process.kill()
    strip = page.get_by_text("No connection since")
    expect(strip).to_be_visible(timeout=20_000)
    expect(page.get_by_label(re.compile("^Parts"))).to_have_value("12")
    serve("serve", data_dir=tmp_path, port=port, variables=variables)
    expect(strip).to_have_count(0, timeout=20_000)
    page.get_by_role("button", name="Save the wash").click()
    expect(page.get_by_text(re.compile("Saved: .*ashed"))).to_be_visible()
    console_errors.clear()  # the browser tells of each question that was not answered
