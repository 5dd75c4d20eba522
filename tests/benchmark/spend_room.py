"""A room with a shelf, drums, checklists and prices beside its washes, of any length."""

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path

from app.domain.roomlog.kinds import Entry, Swap, TopUp, Wash
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.inspections import InspectionClosed, InspectionStarted
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.roomlog.kinds.supplies import Item, StockCounted, StockReceived, StockUsed
from app.domain.roomlog.kinds.waste import Drum, PickupShipped, Pour
from app.services.acts.rooms import RoomForm, add_room
from app.services.changes import Progress
from app.services.door import bring_in as record
from app.services.rebuilding import rebuild_outdated
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from tests.benchmark.rooms import CHUNK, ROOM, room_history

DRUM_L, BATH_L = 180.0, 38.0
LEAST_DAYS = 120.0  # so that a short log has thirteen weeks behind it as well


def open_spend_room(
    folder: Path, tanks: int, events: int, now: datetime, progress: Progress
) -> Store:
    """The store of such a room, made where it is not there yet."""
    folder.mkdir(parents=True, exist_ok=True)
    store = open_store(f"sqlite:///{folder / 'bathkeeper.sqlite3'}")
    upgrade(store)
    done = folder / f"spend-{tanks}-{events}"
    if not done.exists():
        add_room(store, RoomForm(name="Benchmark", key=ROOM, time_zone="Europe/Dublin"), now)
        history = spend_history(tanks, events, now)
        for count, chunk in enumerate(iter(lambda: list(islice(history, CHUNK)), []), 1):
            record(store, ROOM, chunk, now)
            progress("Making the room", min(count * CHUNK, events), events)
        done.touch()
    rebuild_outdated(store, now, progress)
    return store


def spend_history(tanks: int, events: int, now: datetime) -> Iterator[Entry]:
    """About `events` entries in order: about a ninth of them cost something."""
    baths = iter(room_history(tanks, round(events * 0.9), now))
    first = next(baths)
    stretch = max(1.0, timedelta(days=LEAST_DAYS) / max(now - first.at, timedelta(seconds=1)))
    yield from _set_up(now - (now - first.at) * stretch)
    store = _Store(random.Random(2))
    yield replace(first, at=now - (now - first.at) * stretch)
    for count, entry in enumerate(baths):
        moved = replace(entry, at=now - (now - entry.at) * stretch)
        yield from store.around(moved, count)


def _set_up(at: datetime) -> Iterator[Entry]:
    yield PriceList(at=at, prices="prices", currency="EUR", labour_cents_per_hour=3100,
                    weekly_budget_cents=900_000, inspection_minutes=25)  # fmt: skip
    yield Item(at=at, item="ipa", name="Isopropanol", category="solvent", unit="L",
               solvent="isopropanol", container_sizes=[25])  # fmt: skip
    yield Item(at=at, item="gloves", name="Gloves", category="protection", unit="pair")
    yield StockReceived(at=at, item="gloves", quantity=900_000, lot="G", price_cents=9_000_001)


class _Store:
    """What goes with a bath's entries: stock, drums, ticks of the checklist, inspections."""

    def __init__(self, rng: random.Random) -> None:
        self.rng = rng
        self.on_hand_l = 0.0
        self.in_drum_l = 0.0
        self.number = 0
        self.lots = 0
        self.drums = 0

    def around(self, entry: Entry, count: int) -> Iterator[Entry]:
        """The entry with what goes before and after it."""
        if isinstance(entry, Swap):
            yield from self._swap(entry)
            return
        if isinstance(entry, TopUp):
            yield from self._taken(entry, entry.volume_l, "top_up")
        if isinstance(entry, Wash) and count % 40 == 0:
            entry = replace(entry, mass_g=round(self.rng.uniform(200, 3000), 1))
            yield StockUsed(at=entry.at, item="gloves", quantity=2, tank=entry.tank)
        if count % 4000 == 3999:
            yield StockCounted(at=entry.at, item="ipa", quantity=max(0.0, self.on_hand_l - 1.25))
            self.on_hand_l = max(0.0, self.on_hand_l - 1.25)
            yield OtherCost(at=entry.at, prices="prices", cost_cents=4_999, purpose="other",
                            what="Filter of the still")  # fmt: skip
        yield entry

    def _taken(self, entry: TopUp | Swap, litres: float, purpose: str) -> Iterator[Entry]:
        if self.on_hand_l < 4 * BATH_L:
            self.lots += 1
            self.on_hand_l += 1000
            cents = self.rng.randint(300_000, 420_000)
            yield StockReceived(at=entry.at, item="ipa", quantity=1000, lot=f"L{self.lots}",
                                price_cents=cents)  # fmt: skip
        self.on_hand_l -= litres
        swap = entry.swap if isinstance(entry, Swap) else None
        yield StockUsed(at=entry.at, item="ipa", quantity=litres, tank=entry.tank,
                        purpose=purpose, swap=swap)  # fmt: skip

    def _swap(self, entry: Swap) -> Iterator[Entry]:
        self.number += 1
        key, tank = f"swap-{self.number}", entry.tank
        began, at = entry.at - timedelta(minutes=50), entry.at - timedelta(minutes=20)
        yield InspectionStarted(
            at=began, inspection=f"look-{self.number}", tank=tank,
            positions=[{"component": f"{tank}-impeller", "part": "impeller", "name": "Impeller"}],
        )  # fmt: skip
        yield StepDone(at=at, swap=key, step="drain", id=f"{key}-drain")
        if not self.drums or self.in_drum_l + BATH_L > DRUM_L:
            yield from self._drum(at)
        self.in_drum_l += BATH_L
        yield Pour(at=at, drum=f"drum-{self.drums}", volume_l=BATH_L, tank=tank, swap=key,
                   resin_percent=10)  # fmt: skip
        moved = replace(entry, swap=key, drained_l=BATH_L, filled_l=BATH_L)
        yield from self._taken(moved, BATH_L, "swap")
        yield moved
        yield StepDone(at=entry.at, swap=key, step="fill", id=f"{key}-fill")
        yield InspectionClosed(at=entry.at, inspection=f"look-{self.number}")

    def _drum(self, at: datetime) -> Iterator[Entry]:
        if self.drums:
            yield PickupShipped(at=at, pickup=f"pickup-{self.drums}", drums=[f"drum-{self.drums}"],
                                document=f"N{self.drums}", cost_cents=9_777)  # fmt: skip
        self.drums += 1
        self.in_drum_l = 0.0
        yield Drum(at=at, drum=f"drum-{self.drums}", name=f"Drum {self.drums}", capacity_l=200,
                   stream="isopropanol_resin", area="central")  # fmt: skip
