"""A photo opens in the rooms it belongs to, and under no other room's address.

Source of what is asked: OWASP ASVS 4.0.3, 4.2.1 (no object of another by its reference alone),
from memory; that it is answered like what is not there: RFC 9110, 15.5.5.
"""

import json
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlmodel import Session

from app.domain.roomlog.kinds.site import CrewMember
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.photos import ORIGINAL, PhotoFolder
from app.store.room_photos import own_photos
from tests.factories import NOW, ROOM, START, tank
from tests.photos import photo
from tests.web.inspections.looking import PARTS, inspection, look, pictures, said

OTHER = "elsewhere"
THERE = f"/rooms/{OTHER}"
HERE = f"/rooms/{ROOM}"
UNKNOWN = "0" * 64
STEP = "t1-washer-1"


@pytest.fixture
def folder(room: TestClient) -> PhotoFolder:
    """Where the photos of all rooms lie."""
    return PhotoFolder(room.app.state.settings.data_dir)  # type: ignore[attr-defined]


@pytest.fixture
def there(room: TestClient, store: Store) -> str:
    """A second room, with an inspection that was just started; the address of it."""
    add_room(store, RoomForm(name="Elsewhere", key=OTHER), NOW)
    lead = CrewMember(at=START, crew="crew", name="Curlew", role="lead")
    bring_in(store, OTHER, [tank("t1"), lead], NOW)
    assert room.post(f"{THERE}/tanks/t1/parts", data=PARTS).status_code == 200
    begun = room.post(f"{THERE}/tanks/t1/inspection", data={"by": "Wren", "submission": "o" * 16})
    assert begun.status_code == 200
    return begun.url.path


def taken(room: TestClient, store: Store, at: str, content: bytes) -> str:
    """The name of a photo that is added to the inspection of the first room."""
    assert look(room, at, "washer", files=pictures(content)).status_code == 200
    return str(_photos(store, at)[-1])


def _photos(store: Store, at: str) -> list[str]:
    found = inspection(store) if at.startswith(HERE) else None
    assert found is not None
    return [one.photo for one in found.look(STEP).photos]


def status(room: TestClient, at: str, photo: str, size: str = "view") -> int:
    return room.get(f"{at}/photos/{photo}/{size}").status_code


@pytest.mark.usefixtures("there")
@pytest.mark.parametrize("size", ["view", "thumb"])
def test_a_photo_does_not_open_under_the_address_of_another_room(
    room: TestClient, store: Store, at: str, size: str
) -> None:
    name = taken(room, store, at, photo())
    assert status(room, HERE, name, size) == 200
    refused, unknown = (room.get(f"{THERE}/photos/{one}/{size}") for one in (name, UNKNOWN))
    assert refused.status_code == unknown.status_code == 404
    assert refused.text.replace(name, "") == unknown.text.replace(UNKNOWN, "")


def test_the_same_picture_taken_in_both_rooms_opens_in_both(
    room: TestClient, store: Store, at: str, there: str
) -> None:
    name = taken(room, store, at, photo())
    assert look(room, there, "washer", files=pictures(photo())).status_code == 200
    assert [status(room, one, name) for one in (HERE, THERE)] == [200, 200]


@pytest.mark.usefixtures("there")
def test_a_photo_that_waits_in_a_form_opens_in_its_own_room_alone(
    room: TestClient, at: str
) -> None:
    unfinished = {"by": "Wren", "view": "close"}  # no answer yet: the form comes back
    back = room.post(f"{at}/parts/{STEP}", data=unfinished, files=pictures(photo()))
    assert back.status_code == 422
    (name,) = back.text.split('name="kept_photos" value="')[1].split('"')[0].split(",")
    assert f"/photos/{name}/thumb" in back.text
    assert [status(room, one, name, "thumb") for one in (HERE, THERE)] == [200, 404]


def test_a_form_takes_no_photo_of_another_room_by_its_name(
    room: TestClient, store: Store, at: str, there: str
) -> None:
    name = taken(room, store, at, photo())
    sent = said("washer") | {"kept_photos": name}
    answer = room.post(f"{there}/parts/{STEP}", data=sent)
    assert answer.status_code == 200
    assert name not in room.get(f"{there}/parts/{STEP}").text
    assert status(room, THERE, name) == 404


def test_a_photo_that_was_taken_back_is_still_one_of_the_log(
    room: TestClient, store: Store, at: str
) -> None:
    name = taken(room, store, at, photo())
    entry = inspection(store).look(STEP).photos[0].entry
    undone = room.post(f"{at}/parts/{STEP}/undo", data={"entry": entry, "by": "Wren"})
    assert undone.status_code == 200
    assert _photos(store, at) == []
    assert status(room, HERE, name) == 200


def test_a_room_that_keeps_no_originals_deletes_its_own_alone(
    room: TestClient, store: Store, at: str, there: str, folder: PhotoFolder
) -> None:
    shared, own, others = (photo("jpg", one) for one in (1, 3, 6))
    mine, both = taken(room, store, at, own), taken(room, store, at, shared)
    files = pictures(others, shared)
    assert look(room, there, "washer", files=files).status_code == 200
    theirs = set(folder.digests()) - {mine, both}
    decided = {"keep": "no", "lead": "Curlew", "by": "Curlew", "submission": "k" * 16}
    assert room.post(f"{HERE}/parts/life/originals", data=decided).status_code == 200
    left = {one for one in folder.digests() if folder.path(one, ORIGINAL).exists()}
    assert left == {both, *theirs}
    decided["submission"] = "q" * 16
    assert room.post(f"{THERE}/parts/life/originals", data=decided).status_code == 200
    assert not [one for one in folder.digests() if folder.path(one, ORIGINAL).exists()]


def test_photos_of_a_room_are_those_that_no_other_has(
    room: TestClient, store: Store, at: str, there: str, tmp_path: Path
) -> None:
    mine, both = taken(room, store, at, photo()), taken(room, store, at, photo("png"))
    assert look(room, there, "washer", files=pictures(photo("png"))).status_code == 200
    with Session(store.reader) as session:
        assert own_photos(session, find_room(session, ROOM).id or 0) == {mine}
        assert own_photos(session, find_room(session, OTHER).id or 0) == set()
    assert both in set(PhotoFolder(tmp_path).digests())


API_THERE = f"/api/v1/rooms/{OTHER}"
NOT_OURS = "There is no such photo in this room. Add the file on the page of what it shows."


def sent_photo(room: TestClient, there: str, name: str) -> Response:
    key = there.rsplit("/", 1)[1]
    body = {"kind": "inspection_photo", "inspection": key, "component": STEP, "photo": name,
            "view": "close", "by": "Wren"}  # fmt: skip
    return room.post(f"{API_THERE}/entries", json=body)


@pytest.mark.parametrize("which", ["of another room", "unknown"])
def test_a_program_names_no_photo_that_this_room_does_not_have(
    room: TestClient, store: Store, at: str, there: str, which: str
) -> None:
    name = taken(room, store, at, photo()) if which == "of another room" else UNKNOWN
    answer = sent_photo(room, there, name)
    assert answer.status_code == 422
    assert answer.json()["errors"] == [{"field": "photo", "message": NOT_OURS}]
    assert status(room, THERE, name) == 404


def test_a_program_names_a_photo_that_this_room_has(
    room: TestClient, store: Store, at: str, there: str
) -> None:
    assert look(room, there, "washer", files=pictures(photo())).status_code == 200
    name = taken(room, store, at, photo())
    assert sent_photo(room, there, name).status_code == 201


def test_a_note_opens_no_photo(room: TestClient, store: Store, at: str, there: str) -> None:
    name = taken(room, store, at, photo())
    body = {"kind": "top_up", "tank": "t1", "volume_l": 1.0, "by": "Wren", "note": f"photo:{name}"}
    answer = room.post(f"{API_THERE}/entries", json=body)
    assert {"field": "note", "message": NOT_OURS} in answer.json()["errors"], there
    assert status(room, THERE, name) == 404


def test_a_file_opens_no_photo_of_another_room_in_a_room_that_people_work_in(
    room: TestClient, store: Store, at: str, there: str
) -> None:
    name = taken(room, store, at, photo())
    line = {"kind": "inspection_photo", "at": NOW.isoformat(), "inspection": "old",
            "component": "c", "photo": name, "view": "close"}  # fmt: skip
    answer = room.post(
        f"{API_THERE}/import", content=json.dumps(line), params={"by": "Curlew"},
        headers={"content-type": "application/x-ndjson"},
    )  # fmt: skip
    assert answer.status_code == 422, there
    assert "This photo belongs to another room." in answer.text
    assert status(room, THERE, name) == 404
