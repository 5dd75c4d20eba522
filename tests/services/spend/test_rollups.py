"""Roll-ups of costs against reading the whole log again, whatever is entered, in whatever order."""

import random
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import event
from sqlmodel import Session, select

from app.domain.roomlog.kinds import Entry, Resin, Swap, TankChange, TopUp
from app.domain.roomlog.kinds.checklists import StepDone
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
from app.domain.spend.weeks import IsoWeek
from app.services.door import bring_in as record
from app.services.rooms import RoomForm, change_room, find_room
from app.services.spend.basis import basis_from, whole_basis
from app.services.spend.keeping import rebuild_spend
from app.services.spend.rollups import spend_of
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from app.store.spend_tables import SpendHeadRow, SpendWashRow
from app.store.tables import TankRow
from tests.factories import NOW, ROOM, furnish, sensor_reading, tank, wash, withdraw
from tests.furnished import new_store
from tests.services.spend.whole_log import quantities, rolled_up, whole_log

DAYS = 12.9  # how long ago the tanks of the room were set up
Move = tuple[str, float, int]


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    """A room with a shelf and a drum, on each of the databases."""
    if request.param == "sqlite":
        store = new_store(tmp_path)
    else:
        store = open_store(request.getfixturevalue("postgres_url"))
        upgrade(store)
    _furnish(store)
    yield store
    store.close()


def _furnish(store: Store) -> None:
    furnish(store, tanks=2)
    at = NOW - timedelta(days=DAYS)
    record(
        store, ROOM,
        [
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
    "top up", "wash", "weighed", "reading", "limit", "capacity", "pour", "transfer", "ship",
    "labour rate", "solvent rate", "drum rate", "other",
)  # fmt: skip
ACTS = (*KINDS, "withdraw", "withdraw", "move", "move", "several")


class Room:
    """A room that things are entered in, and what may still be corrected in it."""

    def __init__(self, store: Store) -> None:
        self.store, self.number = store, 0
        self.known: dict[str, Entry] = {}

    def act(self, what: str, days: float, size: int) -> None:
        """Enter something, withdraw something, or move something that was entered in time."""
        at = NOW - timedelta(days=days)
        if what == "withdraw":
            if self.known:
                withdraw(self.store, ROOM, self._taken(size), "Wren", "", NOW, None)
        elif what == "move":
            if self.known:
                old = self.known[uid := self._some(size)]
                self._record([replace(old, at=at, id="", corrects=uid)])
                del self.known[uid]
        elif what == "several":
            rng = random.Random(size)
            kinds = rng.choices(KINDS, k=size % 9)
            self._record(
                [self._made(kind, at, 1 + (size + n) % 40) for n, kind in enumerate(kinds)]
            )
        else:
            self._record([self._made(what, at, size)])

    def _made(self, what: str, at: datetime, size: int) -> Entry:
        return made(what, size, {"at": at})

    def _record(self, entries: list[Entry]) -> None:
        named = []
        for entry in entries:
            self.number += 1
            named.append(replace(entry, id=f"m{self.number}"))
        record(self.store, ROOM, named, NOW)
        self.known |= {entry.id: entry for entry in named}

    def _some(self, size: int) -> str:
        return list(self.known)[size % len(self.known)]

    def _taken(self, size: int) -> str:
        uid = self._some(size)
        del self.known[uid]
        return uid


def check(store: Store) -> None:
    """What is kept is what reading everything again gives: the log, and the roll-ups from it."""
    with Session(store.writer) as session:
        room = find_room(session, ROOM)
        lines, bought, bare = whole_log(session, room)
        spend = spend_of(session, room)
        assert dict(spend.lines) == lines
        assert dict(spend.bought) == bought
        for week in lines:
            cents = sum(line.cents for line in lines[week])
            assert spend.cents(week, week) == {week: cents}
            assert spend.uncovered_in(week) == [
                fill for fill in bare if IsoWeek.at(fill.at, UTC) == week
            ]
        kept, sums = rolled_up(session, room), quantities(session, room)
        head = session.get_one(SpendHeadRow, room.id)
        assert basis_from(head.basis) == whole_basis(session, room.id or 0)
        rebuild_spend(session, room)
        assert rolled_up(session, room) == kept
        assert quantities(session, room) == pytest.approx(sums, abs=1e-6)
        session.rollback()


MOVES = st.lists(
    st.tuples(st.sampled_from(ACTS), st.floats(0.1, DAYS - 0.1), st.integers(1, 40)),
    min_size=1, max_size=14,
)  # fmt: skip


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(MOVES)
def test_rollups_are_those_of_the_whole_log_read_again(
    tmp_path_factory: pytest.TempPathFactory, moves: list[Move]
) -> None:
    store = new_store(tmp_path_factory.mktemp("rollups"))
    try:
        _furnish(store)
        room = Room(store)
        for move in moves:
            room.act(*move)
            check(store)
    finally:
        store.close()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_long_history_of_changes_leaves_what_one_reading_gives(store: Store, seed: int) -> None:
    rng, room = random.Random(seed), Room(store)
    for number in range(120):
        room.act(rng.choice(ACTS), rng.uniform(0.1, DAYS - 0.1), rng.randint(1, 40))
        if number % 6 == 0:
            check(store)
    check(store)


def test_another_time_zone_has_other_weeks(store: Store) -> None:
    room = Room(store)
    sunday_night = NOW.replace(hour=23, minute=30) - timedelta(days=(NOW.weekday() + 1) % 7 or 7)
    room.act("labour rate", 12.0, 30)
    room.act("other", (NOW - sunday_night) / timedelta(days=1), 7)
    with Session(store.reader) as session:
        before = list(spend_of(session, find_room(session, ROOM)).lines)
    change_room(store, ROOM, RoomForm(name="Room", key=ROOM, time_zone="Asia/Tokyo"))
    with Session(store.reader) as session:
        after = list(spend_of(session, find_room(session, ROOM)).lines)
    assert after[-1] == before[-1].plus(1)


def test_late_washes_follow_a_limit_that_the_mix_of_resins_moves(store: Store) -> None:
    at = NOW - timedelta(days=DAYS)
    record(
        store, ROOM,
        [
            Resin(at=at, id="r3", resin="heavy", name="Heavy", density_g_ml=1.9),
            tank("t9", at=at, limit_percent=None),  # what is usual: a share of the volume
        ],
        NOW,
    )  # fmt: skip
    limits, late = set(), 0
    for number in range(30):
        resin = "heavy" if number % 3 else "slate"
        more = {"id": f"w{number}", "resin": resin, "area_cm2": 20_000.0}
        record(store, ROOM, [wash(8 - number / 4, "t9", **more)], NOW)
        check(store)
        with Session(store.reader) as session:
            limits.add(session.exec(select(TankRow.limit_percent).where(TankRow.key == "t9")).one())
            late = sum(session.exec(select(SpendWashRow.late)).all())
    assert len(limits) > 20
    assert 0 < late < 30
    withdraw(store, ROOM, "w3", "Wren", "", NOW, None)
    check(store)


def test_a_step_that_moves_no_cost_writes_nothing_of_it(store: Store) -> None:
    room, written = Room(store), list[str]()
    room.act("swap by list", 1.0, 4)
    event.listen(
        store.writer, "before_cursor_execute", lambda *given: written.append(str(given[2]))
    )
    room.act("step", 0.5, 4)
    assert [text for text in written if "INTO entry" in text]
    assert not [text for text in written if re.match(r"(INSERT|UPDATE|DELETE)\b.*\bspend_", text)]
    check(store)


def test_a_late_wash_counts_once_after_the_last_ones_were_taken_back(store: Store) -> None:
    for number, days in enumerate((10.5, 10.0, 1.0)):
        record(store, ROOM, [wash(days, id=f"w{number}")], NOW)
    withdraw(store, ROOM, "w2", "Wren", "", NOW, None)
    record(store, ROOM, [wash(10.2)], NOW)
    check(store)
    with Session(store.reader) as session:
        of_washes = select(SpendWashRow.count).where(SpendWashRow.kind == "wash")
        assert sum(session.exec(of_washes)) == 3
