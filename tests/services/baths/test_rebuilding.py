"""Estimates worked out anew from the log are the ones that were there."""

from pathlib import Path

import pytest
from sqlalchemy import text
from sqlmodel import Session, col, select

from app.services.door import bring_in as record
from app.services.rebuilding import rebuild_outdated, rebuild_room
from app.store.engine import Store
from app.store.tables import CourseRow, HeadRow, TankRow
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash
from tests.furnished import new_store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    for day in range(12, 0, -1):
        record(store, ROOM, [wash(day, "t1"), wash(day - 0.3, "t2", parts=9)], NOW)
    record(store, ROOM, [sensor_reading(6, 2.0, "t1")], NOW)
    return store


def worked_out(store: Store) -> tuple[list[tuple[float, ...]], list[tuple[object, ...]], bytes]:
    with Session(store.reader) as session:
        course = session.exec(select(CourseRow).order_by(col(CourseRow.entry_id))).all()
        tanks = session.exec(select(TankRow).order_by(col(TankRow.key))).all()
        head = session.exec(select(HeadRow)).one()
        return (
            [(row.entry_id, row.mean_percent, row.p05_percent, row.p95_percent) for row in course],
            [(row.key, row.mean_percent, row.limit_p50_us, row.washes_since_fill) for row in tanks],
            head.state,
        )


def test_it_works(store: Store) -> None:
    before = worked_out(store)
    rebuild_room(store, ROOM, NOW)
    assert worked_out(store) == before


def test_a_state_of_another_version_is_replaced(store: Store) -> None:
    before = worked_out(store)
    with store.writer.begin() as connection:
        connection.execute(text("UPDATE head SET state = :old"), {"old": b"OLD1" + b"x" * 40})
        connection.execute(text("UPDATE checkpoint SET state = :old"), {"old": b"OLD1"})
        connection.execute(text("UPDATE projection SET version = 'OLD1' WHERE name = 'baths'"))
    store.states.clear()
    assert rebuild_outdated(store, NOW) == [ROOM]
    assert worked_out(store) == before
    assert rebuild_outdated(store, NOW) == []
