"""Any order of arrival, late, corrected, withdrawn: what is kept is a fold of the true order."""

import os
import random
from dataclasses import replace
from itertools import count

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session, select

from app.domain.baths.record import Record
from app.services.baths.states import load_filter
from app.services.door import bring_in
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.tables import CheckpointRow, ThingCheckpointRow
from tests.factories import NOW, ROOM, read_cycle, tank, wash, withdraw
from tests.services.happenings import ACTS, DAYS, Move, Room, furnish_all, short_stretches
from tests.services.law import check

EXAMPLES = int(os.environ.get("BATHKEEPER_TEST_EXAMPLES", "6"))
NUMBERS = count()


@pytest.fixture
def store(either_store: Store) -> Store:
    """An empty database, of either kind."""
    return either_store


MOVES = st.lists(
    st.tuples(st.sampled_from(ACTS), st.floats(0.1, DAYS - 0.1), st.integers(1, 40)),
    min_size=1, max_size=12,
)  # fmt: skip


@settings(max_examples=EXAMPLES, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(moves=MOVES)
def test_any_order_of_arrival_gives_a_fold_of_the_true_order(
    store: Store, moves: list[Move]
) -> None:
    room = Room(store, f"room-{next(NUMBERS)}")
    furnish_all(store, room.key)
    with short_stretches():
        for number, move in enumerate(moves, 1):
            room.act(*move)
            if number % 4 == 0:
                check(store, room.key)
    check(store, room.key)


@pytest.mark.parametrize("seed", [2, 3])
def test_a_long_history_of_changes_gives_a_fold_of_the_true_order(store: Store, seed: int) -> None:
    rng, room = random.Random(seed), Room(store)
    furnish_all(store)
    with short_stretches():
        for number in range(1, 71):
            room.act(rng.choice(ACTS), rng.uniform(0.1, DAYS - 0.1), rng.randint(1, 40))
            if number % 35 == 0:
                check(store)


def test_what_was_said_is_that_of_the_true_order(store: Store) -> None:
    """A log of two baths that comes backwards, then a late, a corrected and a withdrawn entry."""
    furnish_all(store)
    bring_in(store, ROOM, [tank("t8"), tank("t9")], NOW)
    told = [replace(one, id=f"{key}-{number}") for key in ("t8", "t9")
            for number, one in enumerate(read_cycle(key))]  # fmt: skip
    with short_stretches():
        for start in range(len(told) - 15, -15, -15):
            bring_in(store, ROOM, told[max(start, 0) : start + 15], NOW)
        said = record_kept(store)
        assert sorted((one.tank, one.stage) for one in said.closed) == [
            ("t8", 0.5), ("t8", 0.8), ("t9", 0.5), ("t9", 0.8),
        ]  # fmt: skip
        check(store)
        bring_in(store, ROOM, [wash(9.0, "t8", area_cm2=30_000.0, id="late")], NOW)
        check(store)
        assert record_kept(store).closed != said.closed
        withdraw(store, ROOM, "late", "Ada", "", NOW, None)
        check(store)
        assert record_kept(store).closed == said.closed
        halved = replace(told[20], id="halved", area_cm2=2000.0, corrects=told[20].id)
        bring_in(store, ROOM, [halved], NOW)
        check(store)
        assert record_kept(store).closed != said.closed


def record_kept(store: Store) -> Record:
    with Session(store.reader) as session:
        return load_filter(session, find_room(session, ROOM)).record


def test_states_are_kept_on_the_way(store: Store) -> None:
    """What the law holds against a fold from scratch is there."""
    room = Room(store)
    furnish_all(store)
    with short_stretches():
        for number in range(1, 9):
            room.act("several", DAYS - number, 8)
            room.act("import", DAYS - number, 17)
    with Session(store.reader) as session:
        assert len(session.exec(select(CheckpointRow.id)).all()) > 2
        assert len(session.exec(select(ThingCheckpointRow.id)).all()) > 2
    check(store)
