"""The next weeks: what was spent stands, a swap under way belongs to this week."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.roomlog.kinds import SwapStarted
from app.domain.roomlog.kinds.spending import OtherCost
from app.domain.roomlog.kinds.supplies import StockUsed
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.services.spend.forecast import Plan, spend_ahead
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, sensor_reading
from tests.furnished import new_store
from tests.services.spend.test_weekly_costs import costly, stocked


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store, tanks=2, time_zone="Europe/Dublin")
    record(store, ROOM, [*stocked(), *costly(), sensor_reading(0.2, 3.0)], NOW)
    yield store
    store.close()


def plan(store: Store) -> Plan:
    with Session(store.reader) as session:
        return spend_ahead(session, find_room(session, ROOM), NOW)


def test_what_this_week_has_cost_so_far_is_in_it(store: Store) -> None:
    before = plan(store).weeks[0][1]
    paid = OtherCost(at=NOW - timedelta(hours=2), prices="prices", cost_cents=7_000,
                     purpose="other", what="Rent")  # fmt: skip
    record(store, ROOM, [paid], NOW)
    behind = plan(store).weeks[0][1]
    assert (before.spent_cents, behind.spent_cents) == (0, 7_000)
    assert behind.cents == pytest.approx(before.cents + 7_000)
    assert behind.low_cents >= 7_000


def test_a_swap_under_way_is_this_weeks_and_what_was_taken_for_it_counts_once(
    store: Store,
) -> None:
    calm = plan(store)
    record(store, ROOM, [SwapStarted(at=NOW - timedelta(hours=3), tank="t1")], NOW)
    begun = plan(store)
    chances = dict(begun.weeks[0][1].likely)
    assert chances["t1"] == 1.0
    assert "t1" not in dict(calm.weeks[0][1].likely)
    assert all(dict(week.likely).get("t1", 0.0) == 0.0 for _, week in begun.weeks[1:2])
    taken = StockUsed(at=NOW - timedelta(hours=2), item="ipa", quantity=10, lot="B", tank="t1",
                      purpose="swap")  # fmt: skip
    record(store, ROOM, [taken], NOW)
    behind = plan(store).weeks[0][1]
    assert behind.spent_cents == 5_000
    assert behind.cents == pytest.approx(begun.weeks[0][1].cents)
