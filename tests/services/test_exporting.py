"""Handing logs out, and that an import of what was handed out gives the same room."""

import csv
import io
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import (
    Calibration,
    Entry,
    PlannedWash,
    Reject,
    Removal,
    SolidsRemoved,
    Swap,
    TankChange,
    TopUp,
    Withdrawal,
)
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from app.services.exporting import log_lines, log_table
from app.services.importing.importing import check_file, store_checked
from app.services.importing.tables import TableOptions
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.tables import CourseRow, EntryRow, HeadRow
from tests.factories import NOW, ROOM, at_now, furnish, sensor_reading, wash
from tests.furnished import new_store

COPY = "copy"


def exported(store: Store, room: str, as_table: bool = False) -> str:
    with Session(store.reader) as session:
        room_id = find_room(session, room).id or 0
    return "".join((log_table if as_table else log_lines)(store, room_id))


def copied(store: Store, folder: Path, as_table: bool) -> None:
    """Bring what is handed out into an empty room beside it."""
    path = folder / "handed-out"
    path.write_bytes(exported(store, ROOM, as_table).encode())
    add_room(store, RoomForm("Copy", key=COPY), NOW)
    checked = check_file(store, COPY, path, NOW, TableOptions() if as_table else None)
    assert checked.preview.errors == ()
    store_checked(store, COPY, checked, at_now)


def log(store: Store, room: str) -> list[tuple[object, ...]]:
    """The log as it counts: order, values, what is void."""
    with Session(store.reader) as session:
        room_id = find_room(session, room).id
        rows = session.exec(
            select(EntryRow)
            .where(EntryRow.room_id == room_id)
            .order_by(col(EntryRow.moment_us), col(EntryRow.rank))
            .order_by(col(EntryRow.sequence), col(EntryRow.id))
        )
        return [
            (r.uid, r.kind, r.tank, r.resin, r.at_us, r.moment_us, r.entered_at_us, r.by, r.note,
             r.corrects, r.fields, r.voided_by)
            for r in rows
        ]  # fmt: skip


def estimates(store: Store, room: str) -> tuple[list[tuple[float, ...]], bytes]:
    with Session(store.reader) as session:
        room_id = find_room(session, room).id
        rows = session.exec(
            select(CourseRow)
            .where(CourseRow.room_id == room_id)
            .order_by(col(CourseRow.moment_us), col(CourseRow.sequence))
        )
        course = [(row.mean_percent, row.p05_percent, row.p95_percent) for row in rows]
        state = session.exec(select(HeadRow.state).where(HeadRow.room_id == room_id)).one()
        return course, state


def at(days: float) -> dict[str, object]:
    return {"at": NOW - timedelta(days=days)}


def everything() -> list[Entry]:
    """An entry of each kind, corrected and withdrawn ones among them."""
    return [
        wash(9, id="w1", by="Wren", extra={"never_heard_of": {"a": [1, None, "ü"]}}),
        wash(8, id="w2", entered_at=NOW),
        wash(8, id="w3", corrects="w2", area_cm2=700.0),
        wash(7, id="w4", corrects="w3", area_cm2=800.0, note="=1+1"),
        sensor_reading(6, 1.5, id="s1"),
        wash(5, id="w5"),
        Withdrawal(**at(4), id="x1", withdraws="w5", note="Twice."),
        TopUp(**at(3), id="u1", tank="t1", volume_l=1.0, to_mark=True),
        Removal(**at(3), id="m1", tank="t1", volume_l=0.5),
        SolidsRemoved(**at(3), id="d1", tank="t1", mass_g=20.0),
        Reject(**at(2), id="j1", tank="t1", finding="tacky"),
        TankChange(**at(2), id="c1", tank="t1", limit_g_l=90.0),
        Calibration(**at(2), id="k1", solvent="isopropanol", scale="brix_percent",
                    points=((20.0, 0.0), (25.0, 10.0))),
        Swap(**at(1), id="p1", tank="t1", drained_l=39.0, filled_l=39.5),
        PlannedWash(**at(-2), id="n1", tank="t1", resin="slate", parts=4, plan="job",
                    known_from=NOW - timedelta(days=3)),
    ]  # fmt: skip


@pytest.mark.parametrize("as_table", [False, True])
def test_an_import_of_an_export_gives_the_same_room(tmp_path: Path, as_table: bool) -> None:
    store = new_store(tmp_path)
    furnish(store)
    for entry in everything():
        record(store, ROOM, [entry], NOW)
    copied(store, tmp_path, as_table)
    assert log(store, COPY) == log(store, ROOM)
    assert estimates(store, COPY) == estimates(store, ROOM)
    store.close()


days = st.floats(0.01, 13.9)
areas = st.floats(10, 4000)


@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    st.lists(st.tuples(days, areas, st.booleans()), min_size=1, max_size=8),
    st.lists(st.tuples(st.integers(0, 7), areas), max_size=3),
    st.sets(st.integers(0, 7), max_size=2),
    st.booleans(),
)
def test_whatever_was_entered_corrected_and_withdrawn_comes_back(
    tmp_path_factory: pytest.TempPathFactory,
    washes: list[tuple[float, float, bool]],
    corrections: list[tuple[int, float]],
    withdrawn: set[int],
    as_table: bool,
) -> None:
    folder = tmp_path_factory.mktemp("round")
    store = new_store(folder)
    furnish(store)
    newest = {}
    for number, (day, area, is_late) in enumerate(washes):
        late = {"entered_at": NOW} if is_late else {}
        record(store, ROOM, [wash(day, id=f"w{number}", area_cm2=area, **late)], NOW)
        newest[number] = (f"w{number}", day)
    for count, (number, area) in enumerate(corrections):
        if number in newest:
            old, day = newest[number]
            record(store, ROOM, [wash(day, id=f"c{count}", corrects=old, area_cm2=area)], NOW)
            newest[number] = (f"c{count}", day)
    for number in withdrawn & newest.keys():
        record(store, ROOM, [Withdrawal(at=NOW, withdraws=newest[number][0])], NOW)
    copied(store, folder, as_table)
    assert log(store, COPY) == log(store, ROOM)
    assert estimates(store, COPY) == estimates(store, ROOM)
    store.close()


def test_no_cell_starts_a_formula(tmp_path: Path) -> None:
    """A cell that starts with = + - @ tab or CR can run as a formula (OWASP, CSV Injection)."""
    store = new_store(tmp_path)
    furnish(store)
    record(store, ROOM, [wash(3, by="=cmd", note="@SUM(1)", extra={"x": "=1"})], NOW)
    rows = list(csv.reader(io.StringIO(exported(store, ROOM, as_table=True))))
    cells = [cell for row in rows for cell in row if cell and not cell[-1].isdigit()]
    assert not [cell for cell in cells if cell.startswith(("=", "+", "-", "@", "\t", "\r"))]
    store.close()


def test_lines_of_an_export_are_plain_ascii(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    furnish(store)
    record(store, ROOM, [wash(3, note="Grüße \u2028 end")], NOW)
    assert exported(store, ROOM).isascii()
    assert exported(store, ROOM).count("\n") == 4
    store.close()


def test_a_tank_made_larger_takes_its_larger_volumes_back(tmp_path: Path) -> None:
    store = new_store(tmp_path)
    furnish(store)
    record(store, ROOM, [TankChange(**at(5), tank="t1", capacity_l=80.0)], NOW)
    record(store, ROOM, [TopUp(**at(4), tank="t1", volume_l=60.0)], NOW)
    copied(store, tmp_path, as_table=False)
    assert estimates(store, COPY) == estimates(store, ROOM)
    store.close()
