"""Touches and seconds of a whole swap on a tablet: one tank and a pair, figures typed or taken from
a scale. `.venv/bin/python -m tests.browser.touches` writes the table of docs/swap.md anew.

A touch is a tap on a point, a tile, a link or the named action; a figure counts as one for its
field, and its keys beside it. Seconds by machine are what program and browser take, with no hand
and no eye; seconds by hand are reckoned, at one a touch or key, and were not timed with people.
"""

import json
import re
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.request import Request, urlopen

from app.clock import utc_now
from app.domain.checklists.default_template import DEFAULT
from app.domain.plural import counted
from app.domain.roomlog.kinds import Entry, Resin, Wash
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from app.installation import browser
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in
from tests.browser.places import say_who
from tests.factories import tank
from tests.furnished import new_store

DOCS = Path(__file__).parents[2] / "docs" / "swap.md"
MARKS = ("<!-- touches -->", "<!-- end of touches -->")
TABLET = {"width": 1280, "height": 800}
DRAINED_KG, RINSE_KG, CLEAN_RINSE_KG, FILL_KG, FRESH_KG = 30.6, 1.57, 1.18, 30.6, 60.0
TARE_KG = 20.0
WAYS = {
    "one tank, typed": ("alder", False),
    "one tank, by scale": ("birch", True),
    "a pair, typed": ("cedar", False),
    "a pair, by scale": ("fir", True),
}
BY_MACHINE = "by machine, nobody waiting"
TITLES = {
    "start": "Start the swap", "complete": "Complete the swap",
    **{step.key: step.title for step in DEFAULT.steps},
}  # fmt: skip
PAIRS = {"cedar": "dogwood", "fir": "gorse"}


def furnish_hall(folder: Path) -> None:
    """Two tanks of their own and two pairs, all used; a drum on file with its empty weight,
    solvent, a lead."""
    store, now = new_store(folder), utc_now()
    start = now - timedelta(days=9)
    add_room(store, RoomForm(name="Hall", key="hall"), now)
    keys = ("alder", "birch", "dogwood", "gorse", "cedar", "fir")
    entries: list[Entry] = [
        Resin(at=start, resin="slate", name="Slate", density_g_ml=1.12),
        *(tank(key, at=start, name=key.title(), saturation_percent=9.0, pair=PAIRS.get(key))
          for key in keys),
        *(Wash(at=now - timedelta(days=1), tank=key, resin="slate", area_cm2=900) for key in keys),
        Drum(at=start, drum="w13", name="W-13", capacity_l=400, stream="isopropanol_resin",
             area="wash_station", tare_kg=TARE_KG),
        Item(at=start, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol", purity_percent=99.8),
        StockReceived(at=start, item="ipa", quantity=220, lot="A7"),
        CrewMember(at=start, crew="crew", name="Curlew", role="lead"),
    ]  # fmt: skip
    bring_in(store, "hall", entries, now)
    store.close()


@dataclass
class Walked:
    """What a step took: touches, those of them on points to confirm, keys."""

    said: str
    touches: int
    points: int
    keys: int


@dataclass
class Walk:
    """A swap on a tablet, touch by touch, to its end."""

    page: Any
    hall: str
    key: str
    is_by_scale: bool
    steps: list[Walked] = field(default_factory=list)
    seconds: float = 0.0
    touches: int = 0
    points: int = 0
    keys: int = 0

    def whole(self) -> None:
        """From the start to the completion."""
        page = self.page
        page.goto(f"{self.hall}/tanks/{self.key}/swap")
        say_who(page, "Who does this", "Wren")
        since_s = time.monotonic()
        if self.key in PAIRS:
            self.tile("Move the bath")
        self.act(page.get_by_role("button", name="Start the swap"), "start")
        while page.locator("form[data-at-step]").count():
            self.step(page.locator("form[data-at-step]").get_attribute("data-at-step"))
        page.get_by_role("button", name=re.compile("^Complete")).wait_for(timeout=30_000)
        if page.get_by_label("Where the difference may have gone").count():
            self.figure("Where the difference may have gone", "Lid left open")
        self.act(page.get_by_role("button", name=re.compile("^Complete")), "complete")
        self.seconds = time.monotonic() - since_s

    def step(self, key: str) -> None:
        """Confirm each point by its row, say what is asked, and touch the named action."""
        self.fill_in(key)
        self.go_on(key)

    def fill_in(self, key: str) -> None:
        """All of a step but its named action."""
        FIGURES.get(key, lambda _: None)(self)
        for row in self.page.locator(".confirm-row").all():
            self.tap(row)
            self.points += 1

    def go_on(self, key: str) -> None:
        """The named action of a step; by scale the weight that is taken."""
        if self.is_by_scale and key in WEIGHED:
            for moment, sent in zip(("before", "after"), WEIGHED[key](self), strict=True):
                self.send(key, moment, sent)
            self.act(self.page.locator(".scale-take"), key)
        else:
            self.act(self.page.locator(".step-bar button.primary, .step-bar button").last, key)

    def send(self, step: str, moment: str, shown_kg: float) -> None:
        """The scale sends a weight, as a program does."""
        named = {"tank": self.filled} if step == "fill" else {"drum": "w13"}
        body = {"kind": "scale_weight", "scale": "Floor", "shown_kg": round(shown_kg, 2),
                "moment": moment, **named}  # fmt: skip
        address = self.hall.replace("/rooms/", "/api/v1/rooms/") + "/entries"
        sent = Request(address, json.dumps(body).encode(), {"Content-Type": "application/json"})
        with urlopen(sent) as answer:
            assert answer.status in (200, 201)

    @property
    def filled(self) -> str:
        """The tank that fresh solvent goes into."""
        return PAIRS.get(self.key, self.key)

    def drum_kg(self) -> float:
        """What the drum weighs by the books."""
        address = self.hall.replace("/rooms/", "/api/v1/rooms/") + "/books/drum/w13"
        with urlopen(address) as answer:
            found = json.load(answer)
        return TARE_KG + float(found["state"]["mass_kg"])

    def tap(self, found: Any) -> None:
        found.tap()
        self.touches += 1

    def tile(self, words: str) -> None:
        """Choose a tile, unless it is chosen already."""
        found = self.page.locator("label.tile", has_text=words).first
        if not found.locator("input").is_checked():
            self.tap(found)

    def figure(self, label: str, text: str) -> None:
        self.page.get_by_label(re.compile(f"^{label}")).first.fill(text)
        self.touches, self.keys = self.touches + 1, self.keys + len(text)

    def act(self, found: Any, said: str) -> None:
        with self.page.expect_navigation():
            self.tap(found)
        self.steps.append(Walked(said, self.touches, self.points, self.keys))
        self.touches = self.points = self.keys = 0


def _typed(label: str, text: str) -> Callable[[Walk], None]:
    return lambda walk: None if walk.is_by_scale else walk.figure(label, text)


def _with_lot(label: str, text: str) -> Callable[[Walk], None]:
    def say(walk: Walk) -> None:
        _typed(label, text)(walk)
        walk.tile("lot A7")

    return say


def _read(walk: Walk) -> None:
    walk.tap(walk.page.get_by_role("link", name="In-bath sensor"))
    walk.figure("Resin|^Saturation|^Shown", "0.1")


def _into_drum(gained_kg: float) -> Callable[[Walk], tuple[float, float]]:
    return lambda walk: (walk.drum_kg(), walk.drum_kg() + gained_kg)


FIGURES: dict[str, Callable[[Walk], None]] = {
    "drain": _typed("Volume drained", "39"),
    "rinse": _with_lot("Rinse into the drum", "2"),
    "sensor": lambda walk: walk.tile("film came off"),
    "move_clean": lambda walk: walk.figure("Moved into this tank", "39"),
    "rinse_clean": _with_lot("Rinse into the drum", "1.5"),
    "fill": _with_lot("Filled", "38"),
    "read": _read,
}
WEIGHED: dict[str, Callable[[Walk], tuple[float, float]]] = {
    "drain": _into_drum(DRAINED_KG),
    "rinse": _into_drum(RINSE_KG),
    "rinse_clean": _into_drum(CLEAN_RINSE_KG),
    "fill": lambda _: (FRESH_KG, FRESH_KG - FILL_KG),
}


def walked(page: Any, hall: str, way: str) -> Walk:
    """A whole swap in one of the `WAYS`; the tablet is Wren's."""
    key, is_by_scale = WAYS[way]
    walk = Walk(page, hall, key, is_by_scale)
    walk.whole()
    return walk


def table(walks: dict[str, Walk]) -> str:
    """The touches of each step and way; keys where there are any."""
    rows = ["| step | " + " | ".join(walks) + " |", "| --- |" + " --- |" * len(walks)]
    longest = max(walks.values(), key=lambda walk: len(walk.steps))
    for said in (one.said for one in longest.steps):
        found = [next((s for s in w.steps if s.said == said), None) for w in walks.values()]
        cells = ["-" if one is None else _cell(one) for one in found]
        rows.append(f"| {TITLES.get(said, said)} | " + " | ".join(cells) + " |")
    sums = [_sum(walk) for walk in walks.values()]
    rows.append("| **in all** | " + " | ".join(_cell(one) for one in sums) + " |")
    rows.append("| of these, points to confirm | " + " | ".join(str(s.points) for s in sums) + " |")
    by_hand = [f"{one.touches + one.keys} s" for one in sums]
    rows.append("| by hand, reckoned | " + " | ".join(by_hand) + " |")
    by_machine = [f"{walk.seconds:.0f} s" for walk in walks.values()]
    rows.append(f"| {BY_MACHINE} | " + " | ".join(by_machine) + " |")
    return "\n".join(rows)


def _sum(walk: Walk) -> Walked:
    steps = walk.steps
    return Walked(
        "in all", sum(s.touches for s in steps), sum(s.points for s in steps),
        sum(s.keys for s in steps),
    )  # fmt: skip


def _cell(one: Walked) -> str:
    return f"{one.touches} + {counted(one.keys, 'key')}" if one.keys else str(one.touches)


def counts(text: str, way: str) -> dict[str, str]:
    """What a table says of one way, by step; without the seconds of some machine."""
    head, _, *rows = ([cell.strip() for cell in row.split("|")[1:-1]] for row in text.splitlines())
    place = head.index(way)
    found = {row[0]: row[place] for row in rows if row[0] != BY_MACHINE}
    return {step: cell for step, cell in found.items() if cell != "-"}


def in_docs() -> str:
    """The table that docs/swap.md has."""
    begin, end = MARKS
    return DOCS.read_text("utf-8").partition(begin)[2].partition(end)[0].strip()


def main() -> None:
    """Walk all ways at a server of its own, write the table, print the seconds."""
    from playwright.sync_api import sync_playwright

    from tests.running import start_server

    with TemporaryDirectory() as folder, sync_playwright() as driver:
        furnish_hall(Path(folder))
        server = start_server("serve", data_dir=Path(folder))
        made = driver.chromium.launch(
            executable_path=browser.find_chromium(), args=["--no-sandbox", "--disable-gpu"]
        )
        walks = {}
        try:
            for way in WAYS:
                page = made.new_context(viewport=TABLET, has_touch=True).new_page()
                page.set_default_timeout(60_000)
                walks[way] = walked(page, f"{server.url}/rooms/hall", way)
                print(f"{way}: {walks[way].seconds:.0f} s by machine", flush=True)
        finally:
            with suppress(Exception):
                made.close()
            server.stop()
    begin, end = MARKS
    before, _, rest = DOCS.read_text("utf-8").partition(begin)
    DOCS.write_text(f"{before}{begin}\n{table(walks)}\n{end}{rest.partition(end)[2]}", "utf-8")


if __name__ == "__main__":
    main()
