"""Levels of baths that are kept from reading to reading, against reading all of the log again."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.roomlog.kinds import Removal, Swap, TopUp
from app.domain.spend.mass_balance import levels_at
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.services.spend.mass_balance import levels_between
from app.services.spend.weekly_costs import spend_of
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, wash, withdraw
from tests.furnished import new_store

DAY = timedelta(days=1)
SINCE = NOW - 8 * DAY
MOMENTS = [NOW - days * DAY for days in (7, 2, 0)]
BEGUN = NOW - 13 * DAY


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    record(
        store, ROOM,
        [
            TopUp(at=BEGUN, id="old", tank="t1", volume_l=1.5),
            Swap(at=NOW - 10 * DAY, id="swap", tank="t1", drained_l=20.0, filled_l=21.0),
            TopUp(at=NOW - 5 * DAY, id="new", tank="t1", volume_l=0.5),
            Removal(at=NOW - 4 * DAY, id="out", tank="t2", volume_l=2.0),
        ],
        NOW,
    )  # fmt: skip
    yield store
    store.close()


def losing(tank: str, since: datetime, until: datetime) -> float:
    return -0.01 * len(tank) * ((max(until, SINCE) - max(since, SINCE)) / DAY)


def both(store: Store) -> tuple[list[dict[str, float]], list[dict[str, float]]]:
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        assert room.id is not None
        kept = levels_between(session, room.id, SINCE, MOMENTS, losing)
        return kept, levels_at(spend_of(session, room).bath_entries, MOMENTS, losing)


def test_levels_follow_every_way_an_entry_of_a_bath_comes_or_goes(store: Store) -> None:
    seen = [both(store)[0]]

    def holds(*, changes: bool) -> None:
        kept, whole = both(store)
        assert kept == whole
        assert (kept != seen[-1]) == changes
        seen.append(kept)

    record(store, ROOM, [wash(0.1)], NOW)
    holds(changes=False)
    late = TopUp(at=NOW - 9 * DAY, id="late", tank="t1", volume_l=0.25)
    record(store, ROOM, [late], NOW)
    holds(changes=True)
    within = TopUp(at=NOW - 3 * DAY, id="within", tank="t2", volume_l=0.125)
    record(store, ROOM, [within], NOW)
    holds(changes=True)
    right = replace(late, id="right", corrects="late", volume_l=0.75)
    record(store, ROOM, [right], NOW)
    holds(changes=True)
    record(store, ROOM, [replace(late, id="away", corrects="old", at=NOW - 6 * DAY)], NOW)
    holds(changes=True)
    for gone in ("right", "swap", "out"):
        withdraw(store, ROOM, gone, "", "", NOW, None)
        holds(changes=True)
    record(store, ROOM, [TopUp(at=NOW + timedelta(minutes=1), tank="t1", volume_l=1.0)], NOW + DAY)
    holds(changes=False)


def test_a_walk_that_goes_on_leaves_what_it_began_from_alone(store: Store) -> None:
    assert both(store)[0] == both(store)[0]
