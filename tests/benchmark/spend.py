"""The spending pages on a room with a long past, against its room page and against a short past."""

import http.client
import json
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

from app.clock import utc_now
from app.services.changes import Progress
from tests.benchmark.load import get_ms, post_ms, post_wash_ms, served
from tests.benchmark.rooms import ROOM
from tests.benchmark.spend_room import open_spend_room

TANKS, FEW_EVENTS = 60, 1_000
ROUNDS, CALLS, ACTS = 5, 8, 5
WORKBOOK_ROWS = 100_000
PAGES = {
    "week": "/spend",
    "52 weeks": "/spend?span=52",
    "where it went": "/spend/balance",
    "next weeks": "/spend/ahead",
}
ENTRIES = f"/api/v1/rooms/{ROOM}/entries"

Connection = http.client.HTTPConnection


def measure_spend(folder: Path, events: int, progress: Progress) -> None:
    """Print the times of the spending pages as ratios to the room page of the same room."""
    now = utc_now()
    few, many = folder / f"spend-{FEW_EVENTS}", folder / f"spend-{events}"
    for place, count in ((few, FEW_EVENTS), (many, events)):
        open_spend_room(place, TANKS, count, now, progress).close()
    with served(few) as short, served(many) as long:
        _measure_again(short, long, events)
    print(
        f"first read after a start, the room page's own first read beside it ({events:,} events):"
    )
    for name, path in PAGES.items():
        with served(many) as long:
            room_ms = get_ms(long, f"/rooms/{ROOM}")
            get_ms(long, f"/rooms/{ROOM}/shelf")
            page_ms = get_ms(long, f"/rooms/{ROOM}{path}")
            print(f"  {name}: {page_ms:.1f} ms, {page_ms / room_ms:.2f} of {room_ms:.1f} ms")
    with served(many) as long:
        _measure_after(long, Acts(many, long))
    _measure_workbook()


def _measure_again(short: Connection, long: Connection, events: int) -> None:
    """Rounds in turn, so that a slow moment of the machine falls on all alike."""
    room = f"/rooms/{ROOM}"
    paths = {"room page": "", **PAGES}
    times: dict[tuple[str, str], list[float]] = {}
    for path in paths.values():
        for connection in (short, long):
            get_ms(connection, room + path)
    for _ in range(ROUNDS):
        for name, path in paths.items():
            for size, connection in (("few", short), ("many", long)):
                found = median(get_ms(connection, room + path) for _ in range(CALLS))
                times.setdefault((name, size), []).append(found)
    print(f"read again, {TANKS} tanks, median of {ROUNDS} rounds in turn:")
    base = median(times["room page", "many"])
    for name in paths:
        many, few = median(times[name, "many"]), median(times[name, "few"])
        print(f"  {name}: {events:,} events {many:.1f} ms, {many / base:.2f} of the room page's;",
              f"against {FEW_EVENTS:,} events {many / few:.2f}")  # fmt: skip


class Acts:
    """What changes the log between two reads; each takes the milliseconds of its request."""

    def __init__(self, folder: Path, connection: Connection) -> None:
        self.connection = connection
        database = f"file:{folder / 'bathkeeper.sqlite3'}?mode=ro"
        with closing(sqlite3.connect(database, uri=True)) as log:
            query = (
                "SELECT uid, fields, at_us FROM entry WHERE kind = ? AND voided_by IS NULL"
                " ORDER BY at_us LIMIT ?"
            )
            self.received = log.execute(query, ("stock_received", 3 + 2 * ACTS)).fetchall()[2:]
            self.taken = log.execute(query, ("stock_used", 400)).fetchall()[100:]

    def wash(self) -> float:
        """A wash is logged."""
        return post_wash_ms(self.connection, ROOM, "t01")

    def used(self) -> float:
        """Something is taken from the shelf."""
        return self._post({"kind": "stock_used", "item": "ipa", "quantity": 1.0, "tank": "t02",
                           "purpose": "top_up"})  # fmt: skip

    def corrected(self) -> float:
        """The price of one of the oldest lots is set right."""
        uid, fields, at_us = self.received.pop()
        at = datetime.fromtimestamp(at_us / 1e6, UTC).isoformat()
        price_cents = json.loads(fields)["price_cents"] + 1_000
        more = {"kind": "stock_received", "at": at, "price_cents": price_cents}
        return self._post({**json.loads(fields), **more}, f"/{uid}/correction")

    def withdrawn(self) -> float:
        """One of the oldest entries is withdrawn."""
        return self._post({"note": "not ours"}, f"/{self.taken.pop()[0]}/withdrawal")

    def _post(self, entry: dict[str, object], below: str = "") -> float:
        return post_ms(self.connection, ENTRIES + below, entry)


def _measure_after(long: Connection, acts: Acts) -> None:
    room = f"/rooms/{ROOM}"
    for path in ("", *PAGES.values()):
        get_ms(long, room + path)
    done: dict[str, Callable[[], float]] = {
        "a wash": acts.wash, "something taken from the shelf": acts.used,
        "an old price set right": acts.corrected, "an old entry withdrawn": acts.withdrawn,
    }  # fmt: skip
    for act, do in done.items():
        posts: list[float] = []
        reads: dict[str, list[float]] = {}
        for name, path in {"room page": "", **PAGES}.items():
            for _ in range(ACTS if act != "an old price set right" else 2):
                posts.append(do())
                time.sleep(0.05)  # what open pages are told is done by then
                reads.setdefault(name, []).append(get_ms(long, room + path))
        base = median(reads.pop("room page"))
        calm = median(get_ms(long, room) for _ in range(CALLS))
        print(f"first read after {act} ({median(posts):.0f} ms to store); room page {base:.1f} ms,",
              f"read again {calm:.1f} ms:")  # fmt: skip
        for name, found in reads.items():
            ms = median(found)
            print(f"  {name}: {ms:.1f} ms, {ms / base:.2f} of the room page's,",
                  f"{ms / calm:.1f} of it read again")  # fmt: skip


def _measure_workbook() -> None:
    """The workbook of very many entries, in a process of its own for the sake of its memory."""
    command = [sys.executable, "-m", "tests.benchmark.workbook", str(WORKBOOK_ROWS)]
    print(subprocess.run(command, check=True, capture_output=True, text=True).stdout, end="")
