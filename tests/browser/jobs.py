"""How many touches each of the day's twelve jobs takes, and the table of them in docs/touches.md.

    python -m tests.browser.jobs

does every job in the demo room on an upright tablet and writes the table. A touch is a tap on a
link, a tile, a tick, a field or a button; the figure that is typed into a field counts as keys
beside it. Each job begins on the room page, by somebody whose name the tablet knows, and ends when
it is stored.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from playwright.sync_api import expect, sync_playwright

from app.installation import browser
from tests.browser.places import SECOND_TOUCH_MS
from tests.conftest import BROWSER_FLAGS
from tests.running import ROOT, start_server

PAGE = ROOT / "docs" / "touches.md"
UPRIGHT = {"width": 800, "height": 1280}
SLOWEST_LOADING_S = 300
PATIENCE_MS = 15_000
EVERY_MS = 100


@dataclass
class Hand:
    """A finger on a page, and what it did.

    Attributes:
        taps: what was touched, by its words.
        keys: how many keys were typed.
    """

    page: Any
    taps: list[str]
    keys: int = 0

    def tap(self, found: Any, words: str) -> None:
        found.first.tap()
        self.taps.append(words)

    def link(self, words: str) -> None:
        self.tap(self.page.get_by_role("link", name=re.compile(words)), words.strip("^$"))

    def button(self, words: str) -> None:
        self.tap(self.page.get_by_role("button", name=re.compile(words)), words.strip("^$"))

    def tile(self, words: str) -> None:
        self.tap(self.page.locator("label.tile", has_text=words), words)

    def menu(self, words: str) -> None:
        self.tap(self.page.locator("summary", has_text="Menu"), "Menu")
        found = self.page.locator(".menu-panel").get_by_role("link", name=words, exact=True)
        self.tap(found, words)

    def figure(self, label: str, text: str) -> None:
        found = self.page.get_by_label(re.compile(f"^{label}")).first
        self.tap(found, label)
        found.fill(text)
        self.keys += len(text)
        found.press("Tab")  # the large keys give way; on a tablet they bear Save themselves


def _tank(hand: Hand, key: str) -> None:
    hand.tap(hand.page.locator(f"a.tank[href$='/tanks/{key}']"), "the tank")


def _wash(hand: Hand) -> None:
    _tank(hand, "dogwood")
    hand.button("Wash as last")


def _reading(hand: Hand) -> None:
    _tank(hand, "alder")
    hand.link("^Reading$")
    hand.figure("Density", "0.809")
    hand.figure("Temperature", "20")
    hand.button("Save the reading")


def _top_up(hand: Hand) -> None:
    _tank(hand, "elder")
    hand.link("^Top-up$")
    hand.figure("Fresh solvent added", "1")
    hand.button("Save the top-up")


def _tacky(hand: Hand) -> None:
    _tank(hand, "cedar")
    hand.link("^Tacky")
    hand.button("^Tacky$")


def _hold(hand: Hand) -> None:
    _tank(hand, "elder")
    hand.link("^Hold")
    hand.tile("Too warm")
    hand.button("^Hold the tank")


def _cure(hand: Hand) -> None:
    hand.menu("Cure parts")
    hand.link("^Larkmoor Opal")
    hand.link("Lamp House 1")
    hand.tile("Cedar")
    hand.button("Save the cure")
    # The interlock test is overdue in the demo room, so the cure is asked about first.
    expect(hand.page.locator("#doubts")).to_be_visible()
    hand.page.wait_for_timeout(SECOND_TOUCH_MS)
    hand.button("Yes, store it")


def _count(hand: Hand) -> None:
    hand.menu("Shelf")
    hand.link("^Spill pads")
    hand.link("^Count it")
    hand.figure("What is there", "66")
    hand.button("See the differences")
    hand.button("Save the count")


def _drums(hand: Hand) -> None:
    hand.menu("Waste drums")
    hand.link("^Weekly check")
    drums = hand.page.locator("fieldset.drum-check")
    expect(drums.first).to_be_visible()
    for drum in drums.all():
        hand.tap(drum.locator("label.check"), "in order")
    hand.button("Save the check")


def _problem(kind: str, act: str) -> Callable[[Hand], None]:
    def do(hand: Hand) -> None:
        hand.link("^Problem")
        hand.link(f"^{kind}")
        hand.button(act)

    return do


def _hand_over(hand: Hand) -> None:
    hand.menu("Hand over the shift")
    hand.button("^Hand over")


JOBS: dict[str, tuple[Callable[[Hand], None], int]] = {
    "Wash as last": (_wash, 2),
    "Reading with a hydrometer": (_reading, 5),
    "Top-up": (_top_up, 4),
    "Tacky part": (_tacky, 3),
    "Hold a tank": (_hold, 4),
    "Cure, interlock test overdue": (_cure, 7),
    "Count one item": (_count, 7),
    "Weekly check of three drums": (_drums, 7),
    "Fire: record it": (_problem("Fire or smoke", "record it"), 3),
    "Spill: record it": (_problem("Spill", "Record it now"), 3),
    "Light in the eyes: hold the station": (_problem("Light in the eyes", "Hold Drawer"), 3),
    "Hand over": (_hand_over, 3),
}
"""The day's twelve jobs, and the most touches that each may take: more would be a step back."""


def done(page: Any, room: str, job: str) -> Hand:
    """Do a job from the room page to its end."""
    page.goto(room)
    hand = Hand(page, [])
    before = _version(page, room)
    JOBS[job][0](hand)
    for _ in range(PATIENCE_MS // EVERY_MS):
        if _version(page, room) > before:
            return hand
        page.wait_for_timeout(EVERY_MS)
    raise AssertionError(f"{job}: nothing was stored by {hand.taps}")


def _version(page: Any, room: str) -> int:
    """The version of the room, which rises with each entry."""
    origin, _, key = room.partition("/rooms/")
    return int(page.request.get(f"{origin}/api/v1/rooms/{key}").json()["version"])


def table(hands: dict[str, Hand]) -> str:
    """The rows of docs/touches.md."""
    rows = [
        f"| {job} | {len(hand.taps)} | {hand.keys or ''} | {', '.join(hand.taps)} |"
        for job, hand in hands.items()
    ]
    return "\n".join(["| job | touches | keys | which |", "| --- | --- | --- | --- |", *rows, ""])


HEAD = """# Touches of the day's jobs

What a gloved hand does for each of the day's twelve jobs, from the room page to what is stored, by
somebody whose name the tablet knows. A field counts as one touch, what is typed into it as keys. A
browser does every job in the demo room and counts: `python -m tests.browser.jobs` writes this page,
and a test fails where a job takes more. A swap has [a table of its own](swap.md#touches).

"""


def write(path: Path) -> None:
    """Do all jobs and write the page."""
    with TemporaryDirectory() as data, sync_playwright() as driver:
        server = start_server("demo", data_dir=Path(data) / "demo", within_s=SLOWEST_LOADING_S)
        made = driver.chromium.launch(
            executable_path=browser.find_chromium(), args=list(BROWSER_FLAGS)
        )
        try:
            context = made.new_context(viewport=UPRIGHT, has_touch=True)
            context.add_cookies([{"name": "person", "value": "Wren", "url": server.url}])
            page = context.new_page()
            hands = {job: done(page, f"{server.url}/rooms/larkmoor", job) for job in JOBS}
        finally:
            made.close()
            server.stop()
    path.write_text(HEAD + table(hands), encoding="utf-8")


if __name__ == "__main__":
    write(PAGE)
