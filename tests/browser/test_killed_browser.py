"""A browser that is killed at each step of a swap: what was typed and confirmed is there in the
next one, which ticks the step."""

import os
import signal
import sys
import time
from collections.abc import Iterator
from typing import Any

import pytest

from app.installation import browser as chromium
from tests.browser.touches import PAIRS, Walk, furnish_hall

pytestmark = pytest.mark.browser
SOME_STEPS = 6
BATCH_MS = 500
"""Typed figures are kept once nothing was typed for 0.4 s."""
RUNS = [
    pytest.param("alder", SOME_STEPS, id="some"),
    *(pytest.param(key, 99, id=f"all of {key}", marks=pytest.mark.nightly)
      for key in ("birch", "cedar")),
]  # fmt: skip
TYPED = """() => [...new FormData(document.getElementById("tick"))]
    .filter(([name, value]) => typeof value === "string" && value !== ""
        && !["submission", "by", "method"].includes(name))
    .map(([name, value]) => `${name}=${value}`).sort()"""


@pytest.fixture(scope="module")
def hall(serve: Any, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of a room with two tanks and two pairs."""
    folder = tmp_path_factory.mktemp("hall")
    furnish_hall(folder)
    return f"{serve('serve', data_dir=folder).url}/rooms/hall"


class Tablet:
    """A tablet whose browser dies and is started again: a new process, an empty profile."""

    def __init__(self, kind: Any, site: str) -> None:
        self.kind, self.site = kind, site
        self.start()

    def start(self) -> None:
        self.started = self.kind.launch(
            executable_path=chromium.find_chromium(), args=["--no-sandbox", "--disable-gpu"]
        )
        context = self.started.new_context(has_touch=True)
        context.set_default_timeout(20_000)
        context.add_cookies([{"name": "person", "value": "Wren", "url": self.site}])
        self.page = context.new_page()
        self.waiting = 0
        self.page.on("request", lambda one: self._count(one, 1))
        self.page.on("requestfinished", lambda one: self._count(one, -1))

    def _count(self, request: Any, by: int) -> None:
        self.waiting += by if request.url.partition("?")[0].endswith("/touched") else 0

    def wait_until_kept(self) -> None:
        until_s = time.monotonic() + 20
        self.page.wait_for_timeout(BATCH_MS)
        while self.waiting and time.monotonic() < until_s:
            self.page.wait_for_timeout(50)

    def die(self) -> None:
        """Its process is killed (SIGKILL), and another one started."""
        found = self.started.new_browser_cdp_session().send("SystemInfo.getProcessInfo")
        (pid,) = (one["id"] for one in found["processInfo"] if one["type"] == "browser")
        os.kill(pid, signal.SIGKILL)
        self.start()


@pytest.fixture
def tablet(browser: Any, hall: str) -> Iterator[Tablet]:
    """A tablet of Wren's with a browser of its own."""
    made = Tablet(browser.browser_type, hall)
    yield made
    made.started.close()


@pytest.mark.parametrize("key, most", RUNS)
def test_what_was_typed_is_in_the_next_browser(
    tablet: Tablet, hall: str, key: str, most: int
) -> None:
    address, walk = f"{hall}/tanks/{key}/swap", Walk(tablet.page, hall, key, is_by_scale=False)
    tablet.page.goto(address)
    if key in PAIRS:
        walk.tile("Move the bath")
    walk.act(tablet.page.get_by_role("button", name="Start the swap"), "start")
    steps = fields = 0
    while steps < most and walk.page.locator("form[data-at-step]").count():
        step = walk.page.locator("form[data-at-step]").get_attribute("data-at-step")
        walk.fill_in(step)
        tablet.wait_until_kept()
        typed = walk.page.evaluate(TYPED)
        tablet.die()
        walk.page = tablet.page
        walk.page.goto(address)
        assert walk.page.locator("form[data-at-step]").get_attribute("data-at-step") == step
        assert walk.page.evaluate(TYPED) == typed
        walk.go_on(step)
        steps, fields = steps + 1, fields + len(typed)
    assert steps == min(most, 21 if key in PAIRS else 16)
    sys.stdout.write(f"{key}: browsers killed {steps}, fields {fields}, lost 0\n")
