"""An archived room deleted for good, at all doors and on both databases."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import inspect, text
from sqlmodel import Session, select

from app import cli
from app.domain.errors import FieldErrors, NotAllowed
from app.domain.people.actors import Actor
from app.domain.roomlog.kinds import Resin
from app.domain.roomlog.kinds.inspections import InspectionPhoto
from app.domain.roomlog.kinds.site import ARCHIVE, CrewMember, RoomArchived
from app.services.acts.rooms import RoomForm, add_room
from app.services.deleting import delete_room, deleted
from app.services.door import bring_in
from app.services.rooms import find_room
from app.services.verifying import chained, verify
from app.store.acting import acted_by
from app.store.drafts import DraftFolder
from app.store.engine import Store
from app.store.photos import SIZES, PhotoFolder
from app.store.tables import RoomRow
from tests.factories import NOW, ROOM, START, furnish, tank, wash
from tests.furnished import new_store
from tests.visiting import visiting

OTHER = "other-room"
OWN, SHARED = "a" * 64, "b" * 64


@pytest.fixture
def store(either_store: Store, tmp_path: Path) -> Store:
    """Two rooms with washes and photos, of which the first is archived."""
    fill_rooms(either_store, tmp_path)
    return either_store


def fill_rooms(store: Store, folder: Path) -> None:
    """The two rooms, and the files of their photos and drafts."""
    furnish(store, tanks=1)
    add_room(store, RoomForm(name="Other room", key=OTHER), NOW)
    slate = Resin(at=START, id="other-resin", resin="slate", name="Slate", density_g_ml=1.12)
    bring_in(store, OTHER, [slate, replace(tank("t1"), id="other-tank")], NOW)
    for room, photos in ((ROOM, (OWN, SHARED)), (OTHER, (SHARED,))):
        bring_in(store, room, [wash(1, id=f"wash-{room}")], NOW)
        bring_in(store, room, [photo(one, f"{room}-{one[0]}") for one in photos], NOW)
    for one in (OWN, SHARED):
        PhotoFolder(folder).write_shown(one, dict.fromkeys(SIZES, b"\xff\xd8 \xff\xd9"))
    with Session(store.reader) as session:
        number = find_room(session, ROOM).id or 0
    DraftFolder(folder).write(number, "checklist", 1, {}, "Kim", NOW)
    archive_room(store)


def photo(digest: str, uid: str) -> InspectionPhoto:
    """A photo of a part."""
    return InspectionPhoto(
        at=NOW, id=uid, inspection="n1", component="c1", photo=digest, view="worst",
    )  # fmt: skip


def archive_room(store: Store) -> None:
    """Take the first room out of use."""
    bring_in(store, ROOM, [RoomArchived(at=NOW, archive=ARCHIVE, room_name="Test room")], NOW)


def test_all_of_the_room_goes_and_nothing_of_another(store: Store, tmp_path: Path) -> None:
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        number, end = room.id, chained(session, room)
    before = other_rows(store, number or 0)
    done = delete_room(store, tmp_path, ROOM, "Test room", "Ada", NOW)
    assert end is not None
    assert (done.entries, done.code, done.by, done.photos) == (end.number, end.code, "Ada", 1)
    assert other_rows(store, number or 0) == before
    with Session(store.reader) as session:
        assert [row.key for row in session.exec(select(RoomRow))] == [OTHER]
        assert verify(session, find_room(session, OTHER)).wrong == ""
        assert deleted(session) == [done]
    photos = PhotoFolder(tmp_path)
    assert (photos.has(OWN), photos.has(SHARED)) == (False, True)
    assert DraftFolder(tmp_path).read(number or 0, "checklist") is None


def other_rows(store: Store, number: int) -> dict[str, int]:
    """Of each table how many rows other rooms have."""
    found = {}
    with store.reader.connect() as connection:
        for table in inspect(connection).get_table_names():
            columns = {column["name"] for column in inspect(connection).get_columns(table)}
            if "room_id" not in columns or table == "deleted_room":
                continue
            count = f'SELECT count(*) FROM "{table}" WHERE room_id '
            found[table] = connection.scalar(text(f"{count} <> {number}")) or 0
    return found


def test_a_room_made_afterwards_has_neither_its_number_nor_its_key(
    store: Store, tmp_path: Path
) -> None:
    """What is kept in memory of the one must not be shown of the other."""
    with Session(store.reader) as session:
        numbers = {row.id for row in session.exec(select(RoomRow))}
    delete_room(store, tmp_path, ROOM, "Test room", "Ada", NOW)
    key = add_room(store, RoomForm(name="Test room"), NOW)
    assert key != ROOM
    with Session(store.reader) as session:
        assert find_room(session, key).id not in numbers


@pytest.mark.parametrize(
    "name, by, field",
    [("Test", "Ada", "room_name"), ("", "Ada", "room_name"), ("Test room", "", "by"),
     ("Test room", "Kim", "by")],
)  # fmt: skip
def test_a_wrong_name_or_somebody_else_deletes_nothing(
    store: Store, tmp_path: Path, name: str, by: str, field: str
) -> None:
    if by == "Kim":
        manager = CrewMember(at=NOW, id="m", crew="crew", name="Ada", role="manager", by="Ada")
        bring_in(store, ROOM, [manager], NOW)
    with pytest.raises(FieldErrors) as caught:
        delete_room(store, tmp_path, ROOM, name, by, NOW)
    assert list(caught.value.by_field()) == [field]
    with Session(store.reader) as session:
        assert verify(session, find_room(session, ROOM)).count > 3


def test_a_lead_who_is_signed_in_deletes_nothing(store: Store, tmp_path: Path) -> None:
    with acted_by(Actor("Kim", "lead")), pytest.raises(NotAllowed):
        delete_room(store, tmp_path, ROOM, "Test room", "Kim", NOW)
    with acted_by(Actor("Ada", "manager")):
        assert delete_room(store, tmp_path, ROOM, "Test room", "Kim", NOW).by == "Ada"


@pytest.fixture
def visited(tmp_path: Path) -> Iterator[TestClient]:
    """A browser on the two rooms."""
    with visiting(tmp_path) as client:
        yield client


def test_the_page_offers_the_record_and_deletes_once_the_room_is_archived(
    visited: TestClient,
) -> None:
    form = {"room_name": "Test room", "manager": "Ada"}
    page = f"/rooms/{ROOM}/delete"
    assert "Archive the room first" in visited.get(page).text
    assert visited.post(page, data=form).status_code == 409
    archive_room(visited.app.state.store)  # type: ignore[attr-defined]
    assert f"{page[:-7]}/export.jsonl" in visited.get(page).text
    wrong = visited.post(page, data={**form, "room_name": "Test rom"})
    assert wrong.status_code == 422
    assert "Type the room’s name exactly" in wrong.text or "name exactly" in wrong.text
    assert "Ada" in wrong.text, "what was typed stays"
    assert "Give your name." in visited.post(page, data={**form, "manager": ""}).text
    answer = visited.post(page, data=form)
    assert answer.status_code == 200
    assert "deleted 2026-03-02 12:00 UTC by Ada" in answer.text
    assert visited.get(f"/rooms/{ROOM}").status_code == 404


def test_a_program_deletes_and_reads_what_stays(visited: TestClient) -> None:
    address, body = f"/api/v1/rooms/{ROOM}/deletion", {"room_name": "Test room", "by": "Ada"}
    assert visited.post(address, json=body).status_code == 409
    archive_room(visited.app.state.store)  # type: ignore[attr-defined]
    assert visited.post(address, json={**body, "room_name": "x"}).status_code == 422
    done = visited.post(address, json=body)
    assert done.status_code == 200
    assert visited.get("/api/v1/deleted-rooms").json() == {"rooms": [done.json()]}
    assert visited.post(address, json=body).status_code == 404


def test_the_command_writes_the_log_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    store = new_store(tmp_path)
    fill_rooms(store, tmp_path)
    store.close()
    log = tmp_path / "log.jsonl"
    words = ["delete", "--data", str(tmp_path), "--room", ROOM, "--by", "Ada"]
    assert cli.main([*words, "--name", "Test room"]) == 1
    assert "Take the room's log away first" in capsys.readouterr().err
    assert cli.main([*words, "--name", "Test room", "--output", str(log)]) == 0
    assert "Deleted Test room" in capsys.readouterr().out
    assert log.read_text("utf-8").count("\n") > 4
    assert cli.main(["verify", "--data", str(tmp_path)]) == 0
