"""Taking an import back: one step, told in the history, within the room's rules."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, col, select

from app.domain.errors import NotFound
from app.domain.roomlog.kinds import Entry, Wash
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.lines import to_line
from app.services.door import bring_in as record
from app.services.entries import counting_of_kind
from app.services.importing import storing
from app.services.importing.importing import check_file, store_checked
from app.services.importing.storing import Origin, Stored
from app.services.importing.undoing import undo
from app.services.incidents.holds import hold
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.imports import imports, under_way
from app.store.tables import EntryRow, TankRow
from tests.factories import NOW, ROOM, at_now, furnish, tank, wash, withdraw


@pytest.fixture
def store(either_store: Store) -> Store:
    """A furnished room, in each of the databases."""
    furnish(either_store)
    return either_store


def brought_in(store: Store, folder: Path, *entries: Entry) -> Stored:
    path = folder / "log.jsonl"
    path.write_text("".join(f"{to_line(entry)}\n" for entry in entries), encoding="utf-8")
    checked = check_file(store, ROOM, path, NOW)
    assert checked.preview.errors == ()
    return store_checked(store, ROOM, checked, at_now, Origin(name=path.name))


def counting(store: Store) -> list[tuple[str, int | None, str]]:
    """The washes that count: of which tank, how many parts, with which note."""
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        found = counting_of_kind(session, row.id, Wash.kind)
        return [(e.tank, e.parts, e.note) for e in found if isinstance(e, Wash)]


def told(store: Store) -> list[tuple[str, int, int, str]]:
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        return [(r.state, r.done, r.kept, r.message) for r in imports(session, row.id)]


def test_all_it_brought_is_withdrawn_in_the_history(store: Store, tmp_path: Path) -> None:
    record(store, ROOM, [wash(9, id="mine", parts=1)], NOW)
    done = brought_in(store, tmp_path, *(wash(8 - n, id=f"w{n}", parts=n + 2) for n in range(5)))
    with Session(store.reader) as session:
        assert session.exec(select(TankRow.washes_since_fill)).one() == 6
    back = undo(store, ROOM, done.token, "Wren", at_now)
    assert counting(store) == [("t1", 1, "")]
    with Session(store.reader) as session:
        words = session.exec(select(EntryRow).where(EntryRow.kind == "withdrawal")).all()
        assert session.exec(select(TankRow.washes_since_fill)).one() == 1
    assert {(row.by, row.note) for row in words} == {("Wren", "Import of log.jsonl taken back")}
    assert len(words) == back.count == 5
    assert told(store) == [("stored", 5, 0, ""), ("undone", 5, 0, "")]


def test_what_it_changed_is_as_it_was(store: Store, tmp_path: Path) -> None:
    record(store, ROOM, [wash(9, id="mine", parts=1, note="by hand")], NOW)
    fix = wash(9, id="fix", parts=7, corrects="mine")
    done = brought_in(store, tmp_path, fix, wash(8, id="new", parts=2))
    assert counting(store) == [("t1", 7, ""), ("t1", 2, "")]
    undo(store, ROOM, done.token, "Wren", at_now)
    assert counting(store) == [("t1", 1, "by hand")]


def test_corrections_within_the_file_go_with_it(store: Store, tmp_path: Path) -> None:
    done = brought_in(
        store, tmp_path, wash(9, id="a", parts=1), wash(9, id="b", parts=7, corrects="a")
    )
    undo(store, ROOM, done.token, "Wren", at_now)
    assert counting(store) == []


def test_what_was_corrected_or_withdrawn_since_is_left_alone(store: Store, tmp_path: Path) -> None:
    done = brought_in(store, tmp_path, *(wash(9 - n, id=f"w{n}", parts=1) for n in range(3)))
    record(store, ROOM, [wash(9, id="better", parts=4, corrects="w0")], NOW)
    withdraw(store, ROOM, "w1", "Dunlin", "", NOW, None)
    undo(store, ROOM, done.token, "Wren", at_now)
    assert counting(store) == [("t1", 4, "")]
    assert told(store)[0] == ("stored", 1, 1, "1 entry stays: corrected since (1).")


def test_a_tank_that_others_use_stays(store: Store, tmp_path: Path) -> None:
    done = brought_in(
        store, tmp_path, tank("t2"), tank("t3"), wash(3, "t2", parts=1), wash(3, "t3", parts=1)
    )
    record(store, ROOM, [wash(1, "t2", parts=9)], NOW)
    undo(store, ROOM, done.token, "Wren", at_now)
    assert counting(store) == [("t2", 9, "")]
    with Session(store.reader) as session:
        assert set(session.exec(select(TankRow.key))) == {"t1", "t2"}
    assert "Other entries need this tank (1)" in told(store)[0][3]


def test_a_hold_stays_until_a_lead_releases_it(store: Store, tmp_path: Path) -> None:
    at = NOW - timedelta(days=2)
    held = TankHeld(at=at, id="h", tank="t1", reason="Cracked lid", cause="lead", by="Dunlin")
    done = brought_in(store, tmp_path, held, wash(5, id="w", parts=1))
    undo(store, ROOM, done.token, "Wren", lambda: NOW + timedelta(hours=1))
    assert counting(store) == []
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        assert hold(session, row.id, "t1").is_held
    assert "A lead releases it on its page" in told(store)[0][3]


def test_it_is_taken_back_once(store: Store, tmp_path: Path) -> None:
    done = brought_in(store, tmp_path, wash(3, id="a"))
    undo(store, ROOM, done.token, "Wren", at_now)
    with pytest.raises(NotFound):
        undo(store, ROOM, done.token, "Wren", at_now)
    with pytest.raises(NotFound):
        undo(store, ROOM, told_token(store), "Wren", at_now)


def told_token(store: Store) -> str:
    """The token of the newest in the list: what took the import back."""
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        return imports(session, row.id)[0].token


class Killed(BaseException):
    """The program ends in the middle."""


def test_taking_back_that_broke_off_is_gone_on_with(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(storing, "SLICE", 10)
    done = brought_in(store, tmp_path, *(wash(9 - n / 10, id=f"w{n}", parts=1) for n in range(40)))

    def stop(phase: str, so_far: int, _total: int) -> None:
        if phase == "Storing" and so_far == 20:
            raise Killed

    with pytest.raises(Killed):
        undo(store, ROOM, done.token, "Wren", at_now, stop)
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        far = under_way(session, row.id, NOW + timedelta(minutes=1))
    assert far is not None
    assert (far.is_undo, far.is_stopped, far.done, far.total) == (True, True, 20, 40)
    assert undo(store, ROOM, done.token, "Wren", at_now).count == 40
    assert counting(store) == []
    assert [state for state, *_ in told(store)] == ["stored", "undone"]


def test_a_stopped_import_can_be_taken_back(
    store: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(storing, "SLICE", 10)
    entries: list[Any] = [wash(9 - n / 10, id=f"w{n}", parts=1) for n in range(40)]
    path = tmp_path / "log.jsonl"
    path.write_text("".join(f"{to_line(entry)}\n" for entry in entries), encoding="utf-8")
    checked = check_file(store, ROOM, path, NOW)

    def stop(phase: str, so_far: int, _total: int) -> None:
        if phase == "Storing" and so_far == 20:
            storing.ask_to_stop(store, ROOM, "mine", NOW)

    with pytest.raises(storing.Stopped):
        store_checked(store, ROOM, checked, at_now, Origin("mine"), progress=stop)
    assert len(counting(store)) == 20
    undo(store, ROOM, "mine", "Wren", at_now)
    assert counting(store) == []
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        assert row.id is not None
        assert under_way(session, row.id, NOW) is None


def test_after_it_the_estimates_are_those_without_it(store: Store, tmp_path: Path) -> None:
    record(store, ROOM, [wash(9, id="mine")], NOW)
    with Session(store.reader) as session:
        before = session.exec(select(TankRow.mean_percent)).one()
    done = brought_in(store, tmp_path, *(wash(8 - n / 10, id=f"w{n}") for n in range(30)))
    undo(store, ROOM, done.token, "Wren", at_now)
    with Session(store.reader) as session:
        assert session.exec(select(TankRow.mean_percent)).one() == pytest.approx(before)
        entries = session.exec(select(EntryRow.uid).order_by(col(EntryRow.id))).all()
    assert len(entries) == len(set(entries)) == 3 + 1 + 30 + 30


def test_an_entry_of_another_import_is_not_touched(store: Store, tmp_path: Path) -> None:
    first = brought_in(store, tmp_path, wash(9, id="a", parts=1))
    brought_in(store, tmp_path, replace(wash(8, id="b", parts=2), note="second"))
    undo(store, ROOM, first.token, "Wren", at_now)
    assert counting(store) == [("t1", 2, "second")]
