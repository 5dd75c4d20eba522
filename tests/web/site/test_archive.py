"""A room that is out of use: read, not entered in, in no list, and restored; never deleted."""

import pytest
from fastapi.testclient import TestClient

from app.services.archiving import RoomIsArchived
from app.services.door import bring_in as record
from app.services.importing.storing import Origin, store_in_slices
from app.store.engine import Store
from tests.factories import NOW, ROOM, wash

AT = f"/rooms/{ROOM}"
API = f"/api/v1{AT}"
WASH = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 5}
WORD = {"kind": "room_archived", "archive": "archive", "room_name": "Larkmoor"}
BACK = {"kind": "room_restored", "archive": "archive"}


@pytest.fixture
def name(client: TestClient) -> str:
    """What the room is called."""
    called: str = client.get(API).json()["name"]
    return called


@pytest.fixture
def archived(client: TestClient, name: str) -> None:
    """The room is archived by its page."""
    page = client.post(f"{AT}/archive", data={"room_name": name, "reason": "Moved to hall 2"})
    assert page.status_code == 200
    assert f"Restore {name}" in page.text
    assert "Moved to hall 2" in page.text


@pytest.mark.usefixtures("archived")
def test_an_archived_room_is_in_no_list(client: TestClient, name: str) -> None:
    assert client.get("/api/v1/rooms").json() == {"rooms": []}
    (room,) = client.get("/api/v1/rooms?archived=true").json()["rooms"]
    assert room["is_archived"]
    page = client.get("/rooms").text
    assert page.index("Archived rooms (1)") < page.index(name)


@pytest.mark.usefixtures("archived")
def test_it_can_be_read_and_every_page_says_what_it_is(client: TestClient) -> None:
    for path in (AT, f"{AT}/log", f"{AT}/tanks/t1", f"{AT}/settings"):
        page = client.get(path)
        assert page.status_code == 200
        assert "This room is archived." in page.text
    assert client.get(f"{API}/export").status_code == 200


@pytest.mark.usefixtures("archived")
def test_nothing_is_entered_in_it_by_any_door(client: TestClient, store: Store, name: str) -> None:
    before = len(client.get(f"{API}/entries").json()["entries"])
    form = {"resin": "slate", "parts": "3"}
    page = client.post(f"{AT}/tanks/t1/log/wash", data=form)
    assert page.status_code == 409
    assert "is archived. Restore it first." in page.text
    assert client.post(f"{API}/entries", json=WASH).status_code == 409
    assert client.post(f"{API}/entries/batch", json={"entries": [WASH]}).status_code == 409
    settings = {"name": "Other", "time_zone": "UTC"}
    assert client.post(f"{AT}/settings", data=settings).status_code == 409
    last = client.get(f"{API}/entries").json()["entries"][0]["entry"]["id"]
    assert client.post(f"{API}/entries/{last}/withdrawal", json={}).status_code == 409
    with pytest.raises(RoomIsArchived):
        store_in_slices(store, ROOM, [wash(days=1)], Origin(), lambda: NOW)
    assert len(client.get(f"{API}/entries").json()["entries"]) == before
    assert client.get(API).json()["name"] == name


@pytest.mark.usefixtures("archived")
def test_it_is_restored_and_used_again(client: TestClient) -> None:
    page = client.post(f"{AT}/archive", data={"word": "restore"})
    assert page.status_code == 200
    assert client.post(f"{API}/entries", json=WASH).status_code == 201
    assert len(client.get("/api/v1/rooms").json()["rooms"]) == 1
    again = client.post(f"{API}/entries", json=BACK)
    assert again.status_code == 422
    assert "already in use" in again.text


@pytest.mark.parametrize("typed", ["", "larkmoor", "Another room"])
def test_its_name_is_typed_in_full(client: TestClient, typed: str) -> None:
    page = client.post(f"{AT}/archive", data={"room_name": typed, "reason": "kept words"})
    assert page.status_code == 422
    assert "kept words" in page.text
    assert client.get("/api/v1/rooms").json()["rooms"]


def test_where_there_are_leads_it_is_their_word(client: TestClient, name: str) -> None:
    client.post(f"{AT}/crew", data={"name": "Wren", "role": "lead"})
    word = {**WORD, "room_name": name}
    assert client.post(f"{API}/entries", json=word).status_code == 422
    assert client.post(f"{API}/entries", json={**word, "lead": "Kim"}).status_code == 422
    assert client.post(f"{API}/entries", json={**word, "lead": "Wren"}).status_code == 201
    assert client.post(f"{API}/entries", json=BACK).status_code == 422
    assert client.post(f"{API}/entries", json={**BACK, "lead": "Wren"}).status_code == 201


def test_what_is_open_is_seen_to_first(client: TestClient, name: str) -> None:
    drum = {"kind": "drum", "drum": "d1", "name": "Drum 1", "stream": "isopropanol_resin",
            "area": "central", "capacity_l": 60}  # fmt: skip
    stored = client.post(f"{API}/entries", json=drum)
    assert stored.status_code == 201, stored.text
    answer = client.post(f"{API}/entries", json={**WORD, "room_name": name})
    assert answer.status_code == 422
    assert "1 waste drum is still here" in answer.text
    assert "1 waste drum is still here" in client.get(f"{AT}/archive").text


def test_the_only_room_in_use_is_the_front_page(
    client: TestClient, store: Store, name: str
) -> None:
    other = client.post("/api/v1/rooms", json={"name": "Spare"}).json()["key"]
    record(store, ROOM, [wash(days=1)], NOW)
    assert client.get("/").url.path == "/rooms"
    word = {**WORD, "room_name": "Spare"}
    assert client.post(f"/api/v1/rooms/{other}/entries", json=word).status_code == 201
    assert name in client.get("/").text
    assert client.get("/").url.path == "/"
