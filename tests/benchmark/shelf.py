"""The shelf's figures: its page with a ledger of any length, and run-out days of many items."""

import random
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from http.client import HTTPConnection
from itertools import islice
from pathlib import Path
from statistics import median

from app.clock import utc_now
from app.domain.roomlog.kinds import Entry, Resin, Tank, Wash
from app.domain.roomlog.kinds.supplies import Item, StockCounted, StockReceived, StockUsed
from app.domain.supplies.ledger import ITEM_BOOK
from app.domain.supplies.outlook import ComingUse
from app.domain.supplies.plan import plan_item
from app.domain.supplies.reorder import Lead
from app.domain.supplies.state import ItemState
from app.domain.things import fold
from app.services.acts.rooms import RoomForm, add_room
from app.services.changes import Progress
from app.services.door import bring_in as record
from app.store.engine import open_store
from app.store.migrations import upgrade
from tests.benchmark.load import get_ms, served

ROOM = "shelf"
ITEMS = 40
TANKS = 8
CHUNK = 20_000
FEW_MOVEMENTS = 1_000
BOOK = 25_000  # movements of one item
WIDE_ITEMS, WIDE_MOVEMENTS = 500, 20_000
LATE_DAYS = (1, 7, 30, 365, 1090)
LATE_ENTRIES = 7
ROUNDS, CALLS = 7, 20
PURPOSES = ("hand_out", "swap", "top_up", "inspection", "cleaning")


def measure_shelf(folder: Path, movements: int, progress: Progress) -> None:
    """Print the times of the shelf's pages, of late entries, and of run-out days."""
    now = utc_now()
    rooms = {
        "few": (FEW_MOVEMENTS, ITEMS), "many": (movements, ITEMS), "book": (BOOK, 1),
        "wide": (WIDE_MOVEMENTS, WIDE_ITEMS),
    }  # fmt: skip
    places = {name: folder / f"shelf-{count}-{items}" for name, (count, items) in rooms.items()}
    for name, (count, items) in rooms.items():
        places[name].mkdir(parents=True, exist_ok=True)
        _open_room(places[name], count, items, now, progress)
    with (
        served(places["few"]) as few,
        served(places["many"]) as many,
        served(places["book"]) as book,
        served(places["wide"]) as wide,
    ):
        room, shelf = f"/rooms/{ROOM}", f"/rooms/{ROOM}/shelf"
        times = _taken_in_turn(
            {
                "few": (few, shelf), "many": (many, shelf), "room": (many, room),
                "book": (book, f"{shelf}/items/i0"), "book room": (book, room),
                "wide": (wide, shelf), "wide room": (wide, room),
            }
        )  # fmt: skip
    print(f"shelf page, {ITEMS} items, {TANKS} tanks, median of {ROUNDS} rounds in turn:")
    print(f"  {movements:,} movements {median(times['many']):.2f} ms; against", end=" ")
    print(f"{FEW_MOVEMENTS:,}: ratio {_ratio(times['many'], times['few']):.2f}")
    print(f"  room page of the same room {median(times['room']):.2f} ms")
    for name, what in (
        ("book", f"page of an item of {BOOK:,} movements"),
        ("wide", f"shelf page of {WIDE_ITEMS} items"),
    ):
        ratio = _ratio(times[name], times[f"{name} room"])
        print(f"{what}: {median(times[name]):.2f} ms, {ratio:.2f} of the room page there")
    _measure_late(places["book"], now)
    print(f"run-out days of 500 items: {1000 * run_out_s(500, now):.0f} ms")


def _taken_in_turn(pages: dict[str, tuple[HTTPConnection, str]]) -> dict[str, list[float]]:
    """The times of each page: medians of some calls, in rounds that take every page in turn."""
    times: dict[str, list[float]] = {name: [] for name in pages}
    for connection, path in pages.values():
        get_ms(connection, path)
    for _ in range(ROUNDS):
        for name, (connection, path) in pages.items():
            times[name].append(median(get_ms(connection, path) for _ in range(CALLS)))
    return times


def _ratio(times: list[float], others: list[float]) -> float:
    return median(a / b for a, b in zip(times, others, strict=True))


def _measure_late(folder: Path, now: datetime) -> None:
    """Print what a late entry costs in a long book, by its age; the last one goes to the start."""
    store = open_store(f"sqlite:///{folder / 'bathkeeper.sqlite3'}")
    print(f"late entry into a book of {BOOK:,} entries, median of {LATE_ENTRIES}:")
    for days in LATE_DAYS:
        times = []
        for number in range(LATE_ENTRIES):
            at = now - timedelta(days=days, minutes=7 * number)
            start = time.perf_counter()
            record(store, ROOM, [StockUsed(at=at, item="i0", quantity=1)], now)
            times.append(1000 * (time.perf_counter() - start))
        print(f"  {days:,} days late: {median(times):.0f} ms")
    store.close()


def run_out_s(items: int, now: datetime) -> float:
    """Seconds for the whole outlook of so many items, each with 24 swaps to come."""
    history = list(movements_of(["i0"], 3000, now))
    state: ItemState = fold(ITEM_BOOK, "i0", history)
    today = now.date()
    coming = [
        ComingUse(f"t{n}", f"Tank {n}", 2.0, *(today + timedelta(days=n + d) for d in (3, 1, 6)))
        for n in range(24)
    ]
    start = time.perf_counter()
    for _ in range(items):
        plan_item(state, Lead(7, 2, "learned", 9), coming, today)
    return time.perf_counter() - start


def movements_of(keys: list[str], count: int, now: datetime, seed: int = 2) -> Iterator[Entry]:
    """So many movements of invented items over three years, the last one shortly before now."""
    rng = random.Random(seed)
    span = timedelta(days=3 * 365)
    at = now - span
    for key in keys:
        yield Item(at=at, item=key, name=f"Item {key}", category="other", unit="piece",
                   used_per_swap=1.0)  # fmt: skip
    left = dict.fromkeys(keys, 0)
    for number in range(count):
        at += span / (count + 1)
        key = rng.choice(keys)
        if left[key] < 20:
            left[key] += 400
            expires_on = (at + timedelta(days=700)).date()
            yield StockReceived(at=at, item=key, quantity=400, lot=f"L{number}", price_cents=8000,
                                expires_on=expires_on)  # fmt: skip
        elif rng.random() < 0.01:
            yield StockCounted(at=at, item=key, quantity=left[key])
        else:
            amount = rng.randint(1, 9)
            left[key] -= amount
            yield StockUsed(at=at, item=key, quantity=amount, purpose=rng.choice(PURPOSES))


def _open_room(folder: Path, count: int, items: int, now: datetime, progress: Progress) -> None:
    """A room with tanks in use and a shelf with so many movements, made where it is not there."""
    store = open_store(f"sqlite:///{folder / 'bathkeeper.sqlite3'}")
    upgrade(store)
    done = folder / "made"
    if not done.exists():
        add_room(store, RoomForm(name="Shelf", key=ROOM), now)
        record(store, ROOM, list(_baths(now)), now)
        history = movements_of([f"i{n}" for n in range(items)], count, now)
        for number, chunk in enumerate(iter(lambda: list(islice(history, CHUNK)), []), 1):
            record(store, ROOM, chunk, now)
            progress("Making the shelf", min(number * CHUNK, count), count)
        done.touch()
    store.close()


def _baths(now: datetime) -> Iterator[Entry]:
    at = now - timedelta(days=9)
    yield Resin(at=at, resin="slate", name="Slate", density_g_ml=1.12)
    for number in range(TANKS):
        key = f"t{number}"
        yield Tank(at=at, tank=key, name=f"Tank {number}", capacity_l=40, min_l=30,
                   solvent="isopropanol", fresh_purity_percent=99, limit_percent=10)  # fmt: skip
    for day in range(8):
        for number in range(TANKS):
            yield Wash(at=at + timedelta(days=day + 0.5), tank=f"t{number}", resin="slate",
                       area_cm2=3000 + 300 * number)  # fmt: skip
