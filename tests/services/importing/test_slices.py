"""An import goes on in slices: others write in between, and what comes out is the same."""

import sqlite3
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.domain.errors import Conflict
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.lines import to_line
from app.services import catching_up
from app.services.acts.rooms import RoomForm, add_room
from app.services.catching_up import catch_up_abandoned
from app.services.demo import history
from app.services.door import bring_in as record
from app.services.importing import storing
from app.services.importing.importing import check_file, store_checked
from app.services.importing.storing import Origin, Stopped, Stored, ask_to_stop
from app.services.rooms import find_room
from app.services.spend import shadow_tables as aside
from app.services.spend.projection import TABLES
from app.store.engine import Store
from app.store.import_tables import BehindRow
from app.store.imports import UnderWay, imports, under_way
from app.store.tables import CourseRow, EntryRow, HeadRow, TankRow, ThingRow
from tests.factories import NOW, ROOM, at_now, furnish, wash, withdraw
from tests.furnished import new_store

OTHER = "other-room"
DAYS = 14  # of the demo: each kind of book and cost has something in it


@pytest.fixture
def store(either_store: Store) -> Store:
    """An empty database, of either kind."""
    return either_store


@pytest.fixture
def small_slices(monkeypatch: pytest.MonkeyPatch) -> None:
    """A slice of a few entries, so that a short log has many."""
    monkeypatch.setattr(storing, "SLICE", 20)
    monkeypatch.setattr(catching_up, "SLICE", 30)
    monkeypatch.setattr(aside, "FEW", 40)


@pytest.fixture(scope="module")
def past() -> list[Entry]:
    """Some weeks of the demo room, with ids."""
    entries = history(datetime(2026, 3, 4, 18, tzinfo=UTC))
    first = min(entry.at for entry in entries)
    some = [entry for entry in entries if entry.at < first + timedelta(days=DAYS)]
    return [replace(entry, id=entry.id or f"e{n}") for n, entry in enumerate(some)]


def written(path: Path, entries: list[Entry]) -> Path:
    path.write_text("".join(f"{to_line(entry)}\n" for entry in entries), encoding="utf-8")
    return path


def brought_in(
    store: Store, room: str, path: Path, progress: Any = None, clock: Any = at_now
) -> Stored:
    checked = check_file(store, room, path, clock())
    assert checked.preview.errors == ()
    return store_checked(store, room, checked, clock, Origin(name=path.name), progress=progress)


Writes = Callable[..., dict[str, Any]]


@pytest.fixture(scope="module")
def written_at_once(tmp_path_factory: pytest.TempPathFactory) -> Writes:
    """The figures of a room into which the same was entered in few writes, worked out once."""
    known: dict[tuple[Any, ...], dict[str, Any]] = {}

    def figures_of(*writes: list[Entry], now: datetime) -> dict[str, Any]:
        asked = (now, *("".join(map(to_line, entries)) for entries in writes))
        if asked not in known:
            whole = new_store(tmp_path_factory.mktemp("whole"))
            two_rooms(whole)
            for entries in writes:
                record(whole, ROOM, entries, now)
            known[asked] = figures(whole, ROOM) | {"entries": entries_of(whole, ROOM)}
            whole.close()
        return known[asked]

    return figures_of


def figures(store: Store, key: str) -> dict[str, Any]:
    """All that is worked out from a room's log, numbers of rows and versions aside."""
    with Session(store.reader) as session:
        room = find_room(session, key)
        uids = dict(session.exec(select(EntryRow.id, EntryRow.uid)).all())
        found: dict[str, Any] = {}
        for model in (CourseRow, TankRow, ThingRow, HeadRow, *TABLES):
            table = model.__table__  # type: ignore[attr-defined]
            left_out = {"room_id", "sequence", "id", *(("state",) if model is HeadRow else ())}
            columns = [column for column in table.c if column.name not in left_out]
            rows = []
            for row in session.execute(sql_select(*columns).where(table.c.room_id == room.id)):
                values = row._asdict()
                if "entry_id" in values:
                    values["entry_id"] = uids[values["entry_id"]]
                rows.append(sorted(values.items(), key=lambda item: item[0]))
            found[table.name] = sorted(rows, key=repr)
    return found


def entries_of(store: Store, key: str) -> list[tuple[str, str | None]]:
    with Session(store.reader) as session:
        room = find_room(session, key)
        query = select(EntryRow.uid, EntryRow.voided_by).where(EntryRow.room_id == room.id)
        return sorted(session.exec(query).all())


def are_those(store: Store, theirs: dict[str, Any]) -> bool:
    """Entries and figures are those of another room; the first table that differs fails."""
    ours = figures(store, ROOM) | {"entries": entries_of(store, ROOM)}
    assert ours.keys() == theirs.keys()
    for table, rows in theirs.items():
        assert ours[table] == rows, table
    return True


def currency_of(store: Store, key: str = OTHER) -> str:
    with Session(store.reader) as session:
        return find_room(session, key).currency


@pytest.mark.parametrize("few", [10, 100_000])
@pytest.mark.usefixtures("small_slices")
def test_a_room_counts_in_the_currency_that_a_file_brings(
    store: Store, tmp_path: Path, past: list[Entry], monkeypatch: pytest.MonkeyPatch, few: int
) -> None:
    monkeypatch.setattr(aside, "FEW", few)  # summed beside, and taken in as a form's entries are
    add_room(store, RoomForm(name="Other room", key=OTHER, time_zone="Europe/Dublin"), NOW)
    first = PriceList(at=past[0].at - timedelta(hours=1), id="p", prices="prices", currency="KWD")
    some = [entry for entry in past if entry.kind != "price_list"][:80]
    seen: list[str] = []

    def look(phase: str, done: int, _: int) -> None:
        if phase != "Storing" or done > 20:
            seen.append(currency_of(store))

    brought_in(store, OTHER, written(tmp_path / "log.jsonl", [first, *some]), progress=look)
    assert set(seen) == {"KWD"}  # from the first slice on, long before the costs are added up
    assert currency_of(store) == "KWD"


def said(store: Store, key: str = ROOM, now: datetime = NOW) -> UnderWay | None:
    with Session(store.reader) as session:
        row = find_room(session, key)
        assert row.id is not None
        return under_way(session, row.id, now)


def two_rooms(store: Store) -> None:
    """The same key in both would be one; forecasts are seeded by it, so the rooms come in turn."""
    add_room(store, RoomForm(name="Test room", key=ROOM, time_zone="Europe/Dublin"), NOW)


LATE = datetime(2026, 3, 10, tzinfo=UTC)


def at_late() -> datetime:
    return LATE


@pytest.mark.usefixtures("small_slices")
def test_slices_give_the_figures_that_one_write_gives(
    store: Store, tmp_path: Path, past: list[Entry], written_at_once: Writes
) -> None:
    two_rooms(store)
    brought_in(store, ROOM, written(tmp_path / "log.jsonl", past), clock=at_late)
    assert are_those(store, written_at_once(past, now=LATE))
    assert said(store) is None


@pytest.mark.usefixtures("small_slices")
def test_what_is_entered_meanwhile_counts_as_if_it_had_come_after(
    store: Store, tmp_path: Path, past: list[Entry], written_at_once: Writes
) -> None:
    """Late and new entries, a correction and a withdrawal, at every step of an import."""
    two_rooms(store)
    half = len(past) // 2
    record(store, ROOM, past[:half], LATE)
    washes = [entry for entry in past if entry.kind == "wash"]
    made: list[Entry] = []

    def meanwhile(phase: str, _done: int, _total: int) -> None:
        if phase not in ("Storing", "Estimating", "Forecasting", "Keeping the books"):
            return
        number = len(made)
        if number >= 24:
            return
        source = washes[(number * 7) % (len(washes) // 3)]
        at = source.at + timedelta(minutes=1)
        if number % 3 == 0:
            at = LATE - timedelta(minutes=60 - number)
        entry = replace(source, id=f"m{number}", at=at)
        if number % 5 == 4:
            entry = replace(source, id=f"m{number}", corrects=source.id, note="corrected")
        made.append(entry)
        record(store, ROOM, [entry], LATE)

    path = written(tmp_path / "log.jsonl", past[half:])
    brought_in(store, ROOM, path, meanwhile, clock=at_late)
    assert len(made) >= 12
    assert are_those(store, written_at_once(past, *([entry] for entry in made), now=LATE))


@pytest.mark.usefixtures("small_slices")
def test_others_write_at_every_step_of_an_import(tmp_path: Path, past: list[Entry]) -> None:
    """Whenever an import says how far it is, the database is free for another program."""
    store = new_store(tmp_path)
    two_rooms(store)
    other = sqlite3.connect(tmp_path / "bathkeeper.sqlite3", timeout=0.0, isolation_level=None)
    phases: dict[str, int] = {}

    def meanwhile(phase: str, _done: int, _total: int) -> None:
        phases[phase] = phases.get(phase, 0) + 1
        if phase == "Reading":
            return
        other.execute("BEGIN IMMEDIATE")
        other.execute("UPDATE room SET name = 'Written in between'")
        other.execute("COMMIT")

    brought_in(store, ROOM, written(tmp_path / "log.jsonl", past), meanwhile, clock=at_late)
    assert phases["Storing"] == -(-len(past) // 20)
    assert phases["Estimating"] > len(past) // 50
    assert {"Keeping the books", "Forecasting", "Adding up costs"} <= phases.keys()
    other.close()
    store.close()


class Killed(BaseException):
    """The program ends in the middle."""


def killed_at(phase: str, step: int) -> Callable[[str, int, int], None]:
    seen = 0

    def progress(now: str, _done: int, _total: int) -> None:
        nonlocal seen
        seen += now == phase
        if seen == step:
            raise Killed

    return progress


@pytest.mark.usefixtures("small_slices")
@pytest.mark.parametrize(
    "phase, step",
    [("Storing", 1), ("Storing", 4), ("Keeping the books", 1), ("Estimating", 3),
     ("Forecasting", 1), ("Adding up costs", 1)],
)  # fmt: skip
def test_the_same_file_again_finishes_an_import_that_broke_off(
    store: Store,
    tmp_path: Path,
    past: list[Entry],
    written_at_once: Writes,
    phase: str,
    step: int,
) -> None:
    some = past[:240]
    path = written(tmp_path / "log.jsonl", some)
    two_rooms(store)
    with pytest.raises(Killed):
        brought_in(store, ROOM, path, killed_at(phase, step), clock=at_late)
    far = said(store, now=LATE + timedelta(minutes=5))
    assert far is not None
    if phase == "Storing":
        assert (far.is_stopped, far.done, far.total) == (True, 20 * step, len(some))
    else:
        assert far.is_stored
    brought_in(store, ROOM, path, clock=at_late)
    assert said(store) is None
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        assert [(one.state, one.done) for one in imports(session, row.id)] == [
            ("stored", len(some))
        ]
    assert are_those(store, written_at_once(some, now=LATE))


@pytest.mark.usefixtures("small_slices")
@pytest.mark.parametrize("phase", ["Storing", "Estimating", "Forecasting"])
def test_figures_of_an_import_that_broke_off_follow_by_themselves(
    store: Store, tmp_path: Path, past: list[Entry], written_at_once: Writes, phase: str
) -> None:
    two_rooms(store)
    path = written(tmp_path / "log.jsonl", past[:300])
    with pytest.raises(Killed):
        brought_in(store, ROOM, path, killed_at(phase, 2), clock=at_late)
    assert catch_up_abandoned(store, at_late) == []  # for all we know somebody is at it
    later = LATE + timedelta(minutes=1)
    assert catch_up_abandoned(store, lambda: later) == [ROOM]
    with Session(store.reader) as session:
        assert session.exec(select(BehindRow)).all() == []
        count = len(session.exec(select(EntryRow.id)).all())
    assert are_those(store, written_at_once(past[:count], now=later))


@pytest.mark.usefixtures("small_slices")
def test_an_import_that_is_stopped_leaves_a_part_that_says_so(store: Store, tmp_path: Path) -> None:
    furnish(store)
    path = written(tmp_path / "log.jsonl", [wash(13 - n / 20, id=f"w{n}") for n in range(100)])

    def stop(phase: str, done: int, _total: int) -> None:
        if phase == "Storing" and done == 40:
            with Session(store.reader) as session:
                row = find_room(session, ROOM)
                assert row.id is not None
                token = imports(session, row.id)[0].token
            ask_to_stop(store, ROOM, token, NOW)

    with pytest.raises(Stopped, match="40 of 100 entries are in"):
        brought_in(store, ROOM, path, stop)
    far = said(store)
    assert far is not None
    assert (far.is_stopped, far.done, far.total) == (True, 40, 100)
    with Session(store.reader) as session:
        course = session.exec(select(CourseRow.kind).where(CourseRow.kind == "wash")).all()
    assert len(course) == 40  # its figures are in step with what is in
    assert len(brought_in(store, ROOM, path).ids) == 60
    assert said(store) is None


def test_one_import_at_a_time(store: Store, tmp_path: Path) -> None:
    furnish(store)
    first = written(tmp_path / "a.jsonl", [wash(3, id="a")])
    second = written(tmp_path / "b.jsonl", [wash(2, id="b")])
    refused: list[str] = []

    def meanwhile(phase: str, _done: int, _total: int) -> None:
        if phase == "Storing":
            with pytest.raises(Conflict, match="is being imported: 1 of 1") as error:
                brought_in(store, ROOM, second)
            refused.append(str(error.value))

    brought_in(store, ROOM, first, meanwhile)
    assert "a.jsonl" in refused[0]
    assert brought_in(store, ROOM, second).ids == ("b",)


def test_the_same_file_twice_at_once_is_stored_once(store: Store, tmp_path: Path) -> None:
    furnish(store)
    path = written(tmp_path / "a.jsonl", [wash(13 - n / 100, id=f"w{n}") for n in range(600)])
    second: list[Stored] = []

    def meanwhile(phase: str, _done: int, _total: int) -> None:
        if phase == "Storing" and not second:
            checked = check_file(store, ROOM, path, NOW)
            second.append(store_checked(store, ROOM, checked, at_now))

    with pytest.raises(Conflict, match="Another run is already"):
        brought_in(store, ROOM, path, meanwhile)
    assert [uid for uid, _ in entries_of(store, ROOM) if uid.startswith("w")] == sorted(
        f"w{n}" for n in range(600)
    )
    assert said(store) is None


def test_a_room_of_its_own_is_written_to_as_ever(store: Store, tmp_path: Path) -> None:
    """What another room's people enter is estimated at once."""
    furnish(store)
    two = RoomForm(name="Other", key=OTHER)
    add_room(store, two, NOW)
    path = written(tmp_path / "a.jsonl", [wash(3, id="a")])
    counts = []

    def meanwhile(phase: str, _done: int, _total: int) -> None:
        if phase != "Storing":
            return
        with Session(store.reader) as session:
            query = select(EntryRow).where(col(EntryRow.uid).in_(("r1", "tank-t1")))
            kept = session.exec(query).all()
        from app.services.entries import entry_of

        record(store, OTHER, [entry_of(row) for row in kept], NOW)
        record(store, OTHER, [wash(1, resin="slate", id="o1")], NOW)
        with Session(store.reader) as session:
            counts.append(len(session.exec(select(CourseRow)).all()))
            tanks = session.exec(select(TankRow.washes_since_fill)).all()
        assert sorted(tanks) == [0, 1]

    brought_in(store, ROOM, path, meanwhile)
    assert counts


def test_a_withdrawal_meanwhile_is_taken_in(store: Store, tmp_path: Path) -> None:
    furnish(store)
    record(store, ROOM, [wash(5, id="old")], NOW)
    path = written(tmp_path / "a.jsonl", [wash(3, id="a")])

    def meanwhile(phase: str, _done: int, _total: int) -> None:
        if phase == "Storing":
            withdraw(store, ROOM, "old", "Wren", "", NOW, None)
            withdraw(store, ROOM, "a", "Wren", "", NOW, None)

    brought_in(store, ROOM, path, meanwhile)
    with Session(store.reader) as session:
        assert session.exec(select(TankRow.washes_since_fill)).one() == 0
