"""How many touches a swap takes a named person on a tablet, step by step; it prints them.

A touch is a tap on a point, a tile, a link or the named action; a figure counts as one for its
field, and its keys beside it. The table is in docs/swap.md.
"""

import re
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import pytest

from tests.browser.test_swap import begin, hall

expect: Any = pytest.importorskip("playwright.sync_api").expect
pytestmark = pytest.mark.browser
__all__ = ["hall"]

MOST = {
    "Place is clear": 4, "Protected": 4, "Isolated": 3, "Drum is ready": 3, "Bonded": 3,
    "Drained": 2, "Inspected": 1, "Rinsed": 2, "Wiped": 2, "Sensor checked": 2, "Refitted": 4,
    "Filled": 3, "No leak": 2, "Reading taken": 3, "Running": 3, "Put away": 4, "Complete": 1,
}  # fmt: skip
"""Touches of each step as they are in docs/swap.md: more would be a step back."""


@dataclass
class Counted:
    """A page whose touches are counted until a step is done."""

    page: Any
    steps: list[tuple[str, int, int]] = field(default_factory=list)
    touches: int = 0
    keys: int = 0

    def tap(self, found: Any) -> None:
        found.tap()
        self.touches += 1

    def tile(self, words: str) -> None:
        """Choose a tile, unless it is chosen already."""
        found = self.page.locator("label.tile", has_text=words)
        if not found.locator("input").is_checked():
            self.tap(found)

    def figure(self, label: str, text: str) -> None:
        self.page.get_by_label(re.compile(f"^{label}")).first.fill(text)
        self.touches, self.keys = self.touches + 1, self.keys + len(text)

    def done(self, said: str) -> None:
        """Confirm each point by its row, and touch the named action."""
        for row in self.page.locator(".confirm-row").all():
            self.tap(row)
        with self.page.expect_navigation():
            self.tap(self.page.get_by_role("button", name=re.compile(f"^{said}")))
        self.steps.append((said, self.touches, self.keys))
        self.touches = self.keys = 0


def test_touches_of_a_whole_swap(tablet: Any, hall: str) -> None:
    begin(tablet, f"{hall}/tanks/fir/swap")
    swap, since_s = Counted(tablet), time.monotonic()
    figures: dict[str, Callable[[], None]] = {
        "Drained": lambda: swap.figure("Drained, read at the drum", "39"),
        "Rinsed": lambda: (swap.figure("Rinse into the drum", "2"), swap.tile("lot A7"))[0],
        "Sensor checked": lambda: swap.tile("film came off"),
        "Filled": lambda: (swap.figure("Filled", "39"), swap.tile("lot A7"))[0],
        "Reading taken": lambda: (
            swap.tap(tablet.get_by_role("link", name="In-bath sensor")),
            swap.figure("Resin|^Saturation|^Shown", "0.1"),
        )[0],
    }
    for said in (
        "Place is clear", "Protected", "Isolated", "Drum is ready", "Bonded", "Drained",
        "Inspected", "Rinsed", "Wiped", "Sensor checked", "Refitted", "Filled", "No leak",
        "Reading taken", "Running", "Put away",
    ):  # fmt: skip
        figures.get(said, lambda: None)()
        swap.done(said)
    complete = tablet.get_by_role("button", name=re.compile("^Complete"))
    expect(complete).to_be_visible(timeout=30_000)
    note = tablet.get_by_label("Where the difference may have gone")
    if note.count():
        swap.figure("Where the difference may have gone", "Lid left open")
    swap.done("Complete")
    seconds = time.monotonic() - since_s
    for said, touches, keys in swap.steps:
        sys.stdout.write(f"{said}: {touches} touches, {keys} keys\n")
    count = sum(touches for _, touches, _ in swap.steps)
    keys = sum(keys for _, _, keys in swap.steps)
    sys.stdout.write(f"whole swap: {count} touches, {keys} keys, {seconds:.0f} s by machine\n")
    for said, touches, _ in swap.steps:
        assert touches <= MOST[said], said
