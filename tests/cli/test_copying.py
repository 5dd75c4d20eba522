"""A copy of rooms: whole and the same, or not there."""

import errno
import io
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, col, select

from app.cli import main as command
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in
from app.services.importing.storing import Origin, store_in_slices
from app.services.importing.undoing import undo
from app.services.inspections.photos import keep
from app.services.rooms import find_room
from app.services.transaction import write
from app.services.verifying import chained, verify
from app.store.engine import Store, open_store
from app.store.imports import imports
from app.store.photos import PhotoFolder
from app.store.tables import EntryRow, PersonRow, RoomRow, SubmissionRow
from tests.factories import NOW, ROOM, furnish, tank, wash, withdraw
from tests.furnished import new_store
from tests.photos import photo
from tests.services.law import check

Say = Callable[..., tuple[int, str]]


@pytest.fixture
def here(tmp_path: Path) -> Path:
    return tmp_path / "here"


@pytest.fixture
def source(here: Path) -> Iterator[Store]:
    """A room with a correction, a withdrawal, an import and a photo; and an empty one."""
    store = new_store(here)
    furnish(store)
    bring_in(store, ROOM, [wash(9 - n / 10, id=f"w{n}", by="Åsa") for n in range(12)], NOW, "once")
    bring_in(store, ROOM, [wash(8.5, id="c3", area_cm2=900.0, corrects="w3")], NOW)
    withdraw(store, ROOM, "w4", "Ada", "twice", NOW, None)
    some = [wash(5 - n / 10, id=f"i{n}") for n in range(8)]
    store_in_slices(store, ROOM, some, Origin(name="april.csv"), lambda: NOW)
    digest = keep(PhotoFolder(here), io.BytesIO(photo())).photo
    note = wash(1, id="p", extra={"photo": digest})
    bring_in(store, ROOM, [note], NOW)
    add_room(store, RoomForm(name="Empty", key="empty"), NOW)
    yield store
    store.close()


@pytest.fixture
def say(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Say:
    """`copy` with these words; its exit code and what it says."""
    monkeypatch.setattr("app.cli.copying.utc_now", lambda: NOW)

    def said(*words: object) -> tuple[int, str]:
        code = command(["copy", *map(str, words)])
        shown = capsys.readouterr()
        return code, shown.out + shown.err

    return said


def rows(store: Store, key: str = ROOM) -> list[dict[str, Any]]:
    with Session(store.reader) as session:
        room = find_room(session, key)
        query = select(EntryRow).where(EntryRow.room_id == room.id).order_by(col(EntryRow.id))
        return [row.model_dump(exclude={"id", "room_id"}) for row in session.exec(query)]


def keys(store: Store) -> list[str]:
    with Session(store.reader) as session:
        return sorted(session.exec(select(RoomRow.key)))


def check_same(source: Store, target: Store) -> None:
    assert rows(source) == rows(target)
    with Session(source.reader) as one, Session(target.reader) as other:
        room, copied = find_room(one, ROOM), find_room(other, ROOM)
        assert room.model_dump(exclude={"id"}) == copied.model_dump(exclude={"id"})
        assert chained(one, room) == chained(other, copied)
        assert verify(other, copied).wrong == ""
        people = [set(s.exec(select(PersonRow.name))) for s in (one, other)]
        sent = [set(s.exec(select(SubmissionRow.key))) for s in (one, other)]
        assert people[0] == people[1]
        assert sent[0] == sent[1]
    check(target)


def test_a_copy_into_another_folder_is_the_same(source: Store, here: Path, say: Say) -> None:
    there = here.parent / "there"
    code, said = say("--from", here, "--to", there)
    assert code == 0, said
    assert f"{ROOM}: 26 entries, each checked against the chain, and 1 photo." in said
    assert "empty: 0 entries, each checked against the chain, and 0 photos." in said
    target = open_store(f"sqlite:///{there / 'bathkeeper.sqlite3'}")
    check_same(source, target)
    assert keys(target) == ["empty", ROOM]
    assert _files(there) == _files(here)
    bring_in(target, ROOM, [wash(0.5, id="later")], NOW)
    check(target)
    target.close()


def _files(folder: Path) -> dict[str, bytes]:
    photos = folder / "photos"
    return {str(one.relative_to(photos)): one.read_bytes() for one in photos.glob("??/*")}


@pytest.mark.postgres
def test_to_postgresql_and_back_it_is_the_same(
    source: Store, here: Path, say: Say, postgres_url: str
) -> None:
    middle, back = here.parent / "middle", here.parent / "back"
    assert say("--from", here, "--to", postgres_url, "--photos", middle)[0] == 0
    server = open_store(postgres_url)
    check_same(source, server)
    # Numbers in a database that gives its own go on behind what was copied.
    bring_in(server, "empty", [tank("t1")], NOW)
    server.close()
    code, said = say("--from", postgres_url, "--to", back, "--photos", middle)
    assert code == 0, said
    target = open_store(f"sqlite:///{back / 'bathkeeper.sqlite3'}")
    check_same(source, target)
    assert _files(back) == _files(here)
    target.close()


@pytest.mark.usefixtures("source")
def test_an_import_can_be_taken_back_where_it_was_copied_to(here: Path, say: Say) -> None:
    there = here.parent / "there"
    other = new_store(there)
    add_room(other, RoomForm(name="Other", key="other"), NOW)
    bring_in(other, "other", [tank("t1"), tank("t2")], NOW)  # numbers differ from here on
    other.close()
    assert say("--from", here, "--to", there, "--room", "Test room")[0] == 0
    target = open_store(f"sqlite:///{there / 'bathkeeper.sqlite3'}")
    with Session(target.reader) as session:
        [run] = imports(session, find_room(session, ROOM).id or 0)
    undo(target, ROOM, run.token, "Ada", lambda: NOW)
    voided = {row["uid"] for row in rows(target) if row["voided_by"]}
    assert voided == {"w3", "w4", *(f"i{n}" for n in range(8))}
    assert keys(target) == ["other", ROOM]
    target.close()


def test_a_room_that_is_there_is_left_alone(source: Store, here: Path, say: Say) -> None:
    there = here.parent / "there"
    assert say("--from", here, "--to", there)[0] == 0
    bring_in(source, ROOM, [wash(0.5, id="later")], NOW)
    code, said = say("--from", here, "--to", there, "--room", ROOM)
    assert code == 1
    assert "The target already has a room “Test room”" in said
    target = open_store(f"sqlite:///{there / 'bathkeeper.sqlite3'}")
    assert len(rows(target)) == len(rows(source)) - 1
    target.close()


@pytest.mark.usefixtures("source")
@pytest.mark.parametrize("broken", ["rebuild", "_copy_photos", "_hold_against", "_copy_rest"])
def test_a_copy_that_is_stopped_leaves_no_room(
    here: Path, say: Say, monkeypatch: pytest.MonkeyPatch, broken: str
) -> None:
    def stop(*_: Any) -> None:
        raise KeyboardInterrupt

    there = here.parent / "there"
    with monkeypatch.context() as patch:
        patch.setattr(f"app.services.copying.{broken}", stop)
        assert say("--from", here, "--to", there)[0] == 130
    target = open_store(f"sqlite:///{there / 'bathkeeper.sqlite3'}")
    assert keys(target) == []
    target.close()
    assert say("--from", here, "--to", there)[0] == 0


def test_a_log_that_was_changed_is_not_copied(source: Store, here: Path, say: Say) -> None:
    with write(source) as session:
        session.connection().exec_driver_sql("UPDATE entry SET note = 'x' WHERE uid = 'w7'")
    code, said = say("--from", here, "--to", here.parent / "there", "--room", ROOM)
    assert code == 1
    assert "The log of test-room is not what was stored. Entry 11, wash of" in said
    assert "Nothing was copied." in said


@pytest.mark.usefixtures("source")
def test_a_row_that_comes_otherwise_is_noticed(
    here: Path, say: Say, monkeypatch: pytest.MonkeyPatch
) -> None:
    from app.services import appending

    own = appending._as_stored

    def altered(row: Any, room_id: int) -> dict[str, Any]:
        return {**own(row, room_id), "note": "x" if row["uid"] == "w7" else row["note"]}

    monkeypatch.setattr(appending, "_as_stored", altered)
    there = here.parent / "there"
    code, said = say("--from", here, "--to", there, "--room", ROOM)
    assert code == 1
    assert "The copy of test-room is not the same." in said
    target = open_store(f"sqlite:///{there / 'bathkeeper.sqlite3'}")
    assert keys(target) == []
    target.close()


@pytest.mark.usefixtures("source")
def test_a_full_disk_is_said_and_leaves_no_room(
    here: Path, say: Say, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: Any) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(PhotoFolder, "write", full)
    there = here.parent / "there"
    code, said = say("--from", here, "--to", there)
    assert (code, "The disk is full." in said) == (1, True), said
    target = open_store(f"sqlite:///{there / 'bathkeeper.sqlite3'}")
    assert keys(target) == []
    target.close()


@pytest.mark.usefixtures("source")
def test_a_photo_that_was_lost_is_counted(here: Path, say: Say) -> None:
    shutil.rmtree(here / "photos")
    code, said = say("--from", here, "--to", here.parent / "there", "--room", ROOM)
    assert code == 0
    assert "photos already lost at the source: 1." in said


@pytest.mark.parametrize(
    "words, said",
    [
        (["--from", "{}", "--to", "{}/"], "the same database"),
        (["--from", "{}/nowhere", "--to", "{}/there"], "There is no database in the folder"),
        (["--from", "{}", "--to", "{}/there", "--room", "x"], "There is no room “x”."),
        (["--from", "{}", "--to", "mysql://host/x"], "is not an address that this program knows"),
        (["--from", "{}", "--to", "postgresql+psycopg://host:x/y"], "is not an address that this"),
        (["--from", "{}", "--to", "/proc/none"], "cannot be written"),
        (["--from", "{}", "--to", "postgresql+psycopg://postgres@127.0.0.1:9/x", "--photos",
          "{}/p"], "The database does not answer."),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("source")
def test_wrong_words_are_said(here: Path, say: Say, words: list[str], said: str) -> None:
    code, shown = say(*(word.format(here) for word in words))
    assert code == 1
    assert said in shown


def test_a_source_without_a_room_is_said(tmp_path: Path, say: Say) -> None:
    new_store(tmp_path / "a").close()
    code, said = say("--from", tmp_path / "a", "--to", tmp_path / "b")
    assert code == 1
    assert "The source has no room." in said
