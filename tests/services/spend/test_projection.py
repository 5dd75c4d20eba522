"""Roll-ups of costs in the cases that need a room of their own (all others: test_law)."""

import re
from datetime import timedelta

import pytest
from sqlalchemy import event
from sqlmodel import Session, select

from app.domain.roomlog.kinds import Resin
from app.services.acts.rooms import RoomForm, change_room
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.services.spend.weekly_costs import spend_of
from app.store.engine import Store
from app.store.spend.tables import SpendWashRow
from app.store.tables import TankRow
from tests.factories import NOW, ROOM, tank, wash, withdraw
from tests.services.happenings import DAYS, Room, furnish_all
from tests.services.law import check_costs


@pytest.fixture
def store(either_store: Store) -> Store:
    """A room with a shelf and a drum, on each of the databases."""
    furnish_all(either_store)
    return either_store


def check_costs_of(store: Store) -> None:
    """What is kept is what reading everything again gives: the log, and the roll-ups from it."""
    with Session(store.writer) as session:
        check_costs(session, find_room(session, ROOM))


def test_another_time_zone_has_other_weeks(store: Store) -> None:
    room = Room(store)
    sunday_night = NOW.replace(hour=23, minute=30) - timedelta(days=(NOW.weekday() + 1) % 7 or 7)
    room.act("labour rate", 12.0, 30)
    room.act("other", (NOW - sunday_night) / timedelta(days=1), 7)
    with Session(store.reader) as session:
        before = list(spend_of(session, find_room(session, ROOM)).lines)
    moved = RoomForm(name="Room", key=ROOM, time_zone="Asia/Tokyo")
    change_room(store, ROOM, moved, lambda _: True)
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
        check_costs_of(store)
        with Session(store.reader) as session:
            limits.add(session.exec(select(TankRow.limit_percent).where(TankRow.key == "t9")).one())
            late = sum(session.exec(select(SpendWashRow.late)).all())
    assert len(limits) > 20
    assert 0 < late < 30
    withdraw(store, ROOM, "w3", "Wren", "", NOW, None)
    check_costs_of(store)


def test_a_step_that_moves_no_cost_writes_nothing_of_it(store: Store) -> None:
    room, written = Room(store), list[str]()
    room.act("swap by list", 1.0, 4)
    event.listen(
        store.writer, "before_cursor_execute", lambda *given: written.append(str(given[2]))
    )
    room.act("step", 0.5, 4)
    assert [text for text in written if "INTO entry" in text]
    assert not [text for text in written if re.match(r"(INSERT|UPDATE|DELETE)\b.*\bspend_", text)]
    check_costs_of(store)


def test_a_late_wash_counts_once_after_the_last_ones_were_taken_back(store: Store) -> None:
    for number, days in enumerate((10.5, 10.0, 1.0)):
        record(store, ROOM, [wash(days, id=f"w{number}")], NOW)
    withdraw(store, ROOM, "w2", "Wren", "", NOW, None)
    record(store, ROOM, [wash(10.2)], NOW)
    check_costs_of(store)
    with Session(store.reader) as session:
        of_washes = select(SpendWashRow.count).where(SpendWashRow.kind == "wash")
        assert sum(session.exec(of_washes)) == 3
