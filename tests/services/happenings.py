"""What may happen in a room, of any kind and in any order of arrival: for tests of projections."""

import random
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from app.domain import folds
from app.domain.errors import Conflict, Doubtful, FieldErrors
from app.domain.plausible import NAMES
from app.domain.roomlog.kinds import (
    Calibration,
    Entry,
    PlannedWash,
    Reject,
    Removal,
    Resin,
    SolidsRemoved,
    Swap,
    TankChange,
    TopUp,
    Withdrawal,
)
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.inspections import InspectionClosed, InspectionStarted
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.roomlog.kinds.supplies import (
    Item,
    OrderPlaced,
    StockCounted,
    StockOpened,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, PickupShipped, Pour
from app.services import catching_up
from app.services.acts.rooms import RoomForm, add_room
from app.services.baths import board
from app.services.door import bring_in, enter
from app.services.importing import storing
from app.services.importing.storing import Origin, store_in_slices
from app.services.spend import shadow_tables as aside
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, sensor_reading, tank, wash

DAYS = 12.9  # how long ago the tanks of the room were set up
Move = tuple[str, float, int]


def furnish_all(store: Store, room: str = ROOM) -> None:
    """A room with two tanks, two resins, a shelf and two drums."""
    add_room(store, RoomForm(name=f"Test {room}", key=room), NOW)
    at = NOW - timedelta(days=DAYS)
    bring_in(
        store, room,
        [
            Resin(at=START, id="r1", resin="slate", name="Slate", density_g_ml=1.12),
            Resin(at=START, id="r2", resin="kiln", name="Kiln", density_g_ml=1.58, filled=True),
            tank("t1"), tank("t2"),
            Item(at=at, id="i1", item="ipa", name="Isopropanol", category="solvent", unit="L",
                 solvent="isopropanol"),
            StockReceived(at=at, id="in1", item="ipa", quantity=60, lot="A", price_cents=24_001),
            Drum(at=at, id="d1", drum="d1", name="Drum 1", capacity_l=200, area="central",
                 stream="isopropanol_resin"),
            Drum(at=at, id="d2", drum="d2", name="Drum 2", capacity_l=200, area="central",
                 stream="isopropanol_resin"),
        ],
        NOW,
    )  # fmt: skip


def made(what: str, size: int, more: dict[str, Any]) -> Entry:
    """An entry of some kind; its size decides the rest."""
    tank = f"t{1 + size % 2}"
    swap = f"swap{size % 4}"
    positions = [{"component": f"{tank}-impeller", "part": "impeller", "name": "Impeller"}]
    makers: dict[str, Callable[[], Entry]] = {
        "use": lambda: StockUsed(item="ipa", quantity=size, tank=tank, purpose="top_up", **more),
        "use for swap": lambda: StockUsed(item="ipa", quantity=size, swap=swap, **more),
        "receive": lambda: StockReceived(item="ipa", quantity=size, lot=f"L{size % 3}",
                                         price_cents=100 * size + 1, **more),
        "receive unpriced": lambda: StockReceived(item="ipa", quantity=size, order="o1", **more),
        "order": lambda: OrderPlaced(item="ipa", order="o1", quantity=30, price_cents=99,
                                     **more),
        "open": lambda: StockOpened(item="ipa", lot="A", **more),
        "count": lambda: StockCounted(item="ipa", quantity=size, **more),
        "scrap": lambda: StockScrapped(item="ipa", quantity=size, reason="lost", **more),
        "gloves": lambda: Item(item="gloves", name="Gloves", category="protection", unit="pair",
                               list_price_cents=20 + size, **more),
        "gloves used": lambda: StockUsed(item="gloves", quantity=size, **more),
        "swap": lambda: Swap(tank=tank, filled_l=float(size), **more),
        "swap by list": lambda: Swap(tank=tank, filled_l=float(size), swap=swap, **more),
        "step": lambda: StepDone(swap=swap, step="drain", **more),
        "minutes": lambda: StepDone(swap=swap, step=f"close-{size % 2}",
                                    answers={"minutes_taken": size}, **more),
        "usual minutes": lambda: SiteRules(
            site="site", swap_minutes=5.0 + size, **more
        ) if size % 4 else SiteRules(site="site", unset="swap_minutes", **more),
        "shelf of another": lambda: Item(item="meths", name="Meths", category="solvent", unit="L",
                                         solvent="ethanol" if size % 2 else "isopropanol", **more),
        "look": lambda: InspectionStarted(inspection=f"x{size % 3}", tank=tank,
                                          positions=positions, **more),
        "look in swap": lambda: InspectionStarted(inspection=f"x{size % 3}", tank=tank, swap=swap,
                                                  positions=positions, **more),
        "looked": lambda: InspectionClosed(inspection=f"x{size % 3}", **more),
        "top up": lambda: TopUp(tank=tank, volume_l=size / 10, **more),
        "wash": lambda: _washed(tank, area_cm2=100.0 * size, **more),
        "wash of a lot": lambda: _washed(
            tank, area_cm2=1000.0 * size, lot=f"B-{size % 5}", **more
        ),
        "weighed": lambda: _washed(tank, mass_g=10.0 * size, **more),
        "reading": lambda: replace(sensor_reading(0, size / 4, tank), **more),
        "limit": lambda: TankChange(tank=tank, limit_percent=size / 4, **more),
        "capacity": lambda: TankChange(tank=tank, capacity_l=30 + size, **more),
        "pour": lambda: Pour(drum=f"d{1 + size % 2}", volume_l=size, tank=tank, **more),
        "transfer": lambda: DrumTransfer(drum="d1", from_drum="d2", volume_l=1, waste_kg=size / 9,
                                         **more),
        "ship": lambda: PickupShipped(pickup=f"p{size}", drums=["d1", "d2"][: 1 + size % 2],
                                      document="N", cost_cents=1_001 * size if size % 3 else None,
                                      **more),
        "labour rate": lambda: PriceList(prices="prices", labour_cents_per_hour=100 * size, **more),
        "solvent rate": lambda: PriceList(prices="prices", solvent_cents_per_l=size, **more),
        "drum rate": lambda: PriceList(prices="prices", disposal_cents_per_kg=size, **more),
        "plan": lambda: PlannedWash(tank=tank, resin="slate", parts=size,
                                    known_from=more["at"] - timedelta(hours=size), **more),
        "reject": lambda: Reject(tank=tank, finding="tacky", parts=size, **more),
        "remove": lambda: Removal(tank=tank, volume_l=size / 20, **more),
        "solids": lambda: SolidsRemoved(tank=tank, mass_g=float(size), **more),
        "calibrate": lambda: Calibration(solvent="isopropanol", scale="brix_percent",
                                         points=((20.0 + size / 50, 0.0), (26.0, 20.0)), **more),
        "resin again": lambda: Resin(resin="slate", name="Slate", density_g_ml=1 + size / 100,
                                     **more),
        "retire": lambda: TankChange(tank="t2", is_retired=size % 2 == 0, **more),
        "duty": lambda: DutyDone(duty="hydrometer", outcome="done", **more),
        "other": lambda: OtherCost(prices="prices", cost_cents=size, purpose="other", what="Tea",
                                   tank=tank, **more),
    }  # fmt: skip
    return makers[what]()


def _washed(tank: str, *, at: datetime, **more: Any) -> Entry:
    return replace(wash(0, tank, **more), at=at)


KINDS = (
    "use", "use for swap", "receive", "receive unpriced", "order", "open", "count", "scrap",
    "gloves", "gloves used", "swap", "swap by list", "step", "minutes", "usual minutes",
    "shelf of another", "look", "look in swap", "looked",
    "top up", "wash", "wash of a lot", "weighed", "reading",
    "limit", "capacity", "pour", "transfer", "ship",
    "labour rate", "solvent rate", "drum rate", "plan", "reject", "remove", "solids", "calibrate",
    "resin again", "retire", "duty", "other",
)  # fmt: skip
ACTS = (
    *KINDS,
    *("withdraw", "move", "several") * 3,
    "said twice",
    "say",
    "say",
    "import",
    "withdraw many",
)


class Room:
    """A room that things are entered in, and what may still be corrected in it."""

    def __init__(self, store: Store, key: str = ROOM) -> None:
        self.store, self.key, self.number = store, key, 0
        self.known: dict[str, Entry] = {}

    def act(self, what: str, days: float, size: int) -> None:
        """Enter something, withdraw something, or move something that was entered in time."""
        at = NOW - timedelta(days=days)
        if what in ("withdraw", "withdraw many", "move", "said twice") and not self.known:
            return
        if what == "withdraw":
            self._record([self._withdrawal(size)])
        elif what == "withdraw many":
            count = min(1 + size % 4, len(self.known))
            self._record([self._withdrawal(size) for _ in range(count)])
        elif what == "move":
            uid = self._some(size)
            self._record([replace(self.known.pop(uid), at=at, id="", corrects=uid)])
        elif what == "said twice":
            self._say_and_mend(at, size)
        elif what in ("several", "import"):
            rng = random.Random(size)
            some = [made(kind, 1 + (size + n) % 40, {"at": at - timedelta(hours=n % 3)})
                    for n, kind in enumerate(rng.choices(KINDS, k=size % 9))]  # fmt: skip
            (self._record if what == "several" else self._bring_in_slices)(some)
        elif what == "say":
            self._say([made(KINDS[size % len(KINDS)], size, {"at": at})])
        else:
            self._record([made(what, size, {"at": at})])

    def _say_and_mend(self, at: datetime, size: int) -> None:
        """An entry, its correction and a withdrawal of another one, together."""
        first = replace(made("use", size, {"at": at}), id=f"x{self.number}")
        mended = replace(first, id=f"y{self.number}", corrects=first.id, at=at - timedelta(1 / 24))
        self._say([first, mended, self._withdrawal(size)])

    def _named(self, entries: Sequence[Entry]) -> list[Entry]:
        named = []
        for entry in entries:
            self.number += 1
            named.append(entry if entry.id else replace(entry, id=f"m{self.number}"))
        return named

    def _say(self, entries: Sequence[Entry]) -> None:
        """Enter as people do; what a rule refuses leaves no trace."""
        named = self._named(entries)
        try:
            enter(self.store, self.key, named, NOW, confirmed=NAMES)
        except (FieldErrors, Conflict, Doubtful):
            return
        self._know(named)

    def _record(self, entries: Sequence[Entry]) -> None:
        named = self._named(entries)
        bring_in(self.store, self.key, named, NOW)
        self._know(named)

    def _bring_in_slices(self, entries: Sequence[Entry]) -> None:
        named = self._named(entries)
        store_in_slices(self.store, self.key, named, Origin(), lambda: NOW)
        self._know(named)

    def _know(self, entries: Sequence[Entry]) -> None:
        for entry in entries:
            self.known.pop(entry.corrects, None)
            if isinstance(entry, Withdrawal):
                self.known.pop(entry.withdraws, None)
            elif not isinstance(entry, Resin):  # others need it
                self.known[entry.id] = entry

    def _withdrawal(self, size: int) -> Withdrawal:
        uid = self._some(size)
        del self.known[uid]
        return Withdrawal(at=NOW, withdraws=uid)

    def _some(self, size: int) -> str:
        return list(self.known)[size % len(self.known)]


@contextmanager
def short_stretches(*, with_forecasts: bool = False) -> Iterator[None]:
    """States kept every few entries and slices of a few, so that a short log has many.

    Forecasts are drawn from a state and are no part of it; they take longest and are left out
    unless they are asked for.
    """
    with pytest.MonkeyPatch.context() as patch:
        if not with_forecasts:
            patch.setattr(board, "_refresh_forecast", lambda *_: None)
        patch.setattr(storing, "SLICE", 3)
        patch.setattr(catching_up, "SLICE", 4)
        patch.setattr(aside, "FEW", 5)
        patch.setattr(folds, "EVERY", 3)
        yield
