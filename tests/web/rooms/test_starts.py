"""What a new room begins with: some tanks, a pair, or the tanks and resins of another room."""

import re
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.store import queries
from app.store.engine import Store
from app.store.sessions import reading
from tests.factories import NOW, ROOM

NEW = {"name": "North hall", "time_zone": "UTC"}


def tanks_of(store: Store, key: str) -> list[Any]:
    with reading(store) as session:
        room = next(one for one in queries.every_room(session) if one.key == key)
        assert room.id is not None
        return list(queries.board(session, room.id, NOW).tanks)


def test_tanks_alike_are_set_up_with_the_room(client: TestClient, store: Store) -> None:
    data = {**NEW, "start": "3", "capacity_l": "40", "solvent": "isopropanol"}
    page = client.post("/rooms/new", data=data)
    assert page.status_code == 200
    found = tanks_of(store, "north-hall")
    assert [one.name for one in found] == ["Tank A", "Tank B", "Tank C"]
    assert {(one.capacity_l, one.solvent, one.limit_percent) for one in found} == {
        (40.0, "isopropanol", 10.0)
    }
    assert "Tank A" in page.text


def test_the_volume_that_is_needed_is_not_called_optional(client: TestClient) -> None:
    form = client.get("/rooms/new").text
    assert re.search(r'<fieldset class="sizes asked"><legend>These tanks</legend>', form)
    bare = client.post("/rooms/new", data={**NEW, "start": "1", "solvent": "isopropanol"})
    assert bare.status_code == 422


def test_gallons_are_read_as_the_room_counts(client: TestClient, store: Store) -> None:
    data = {**NEW, "start": "1", "capacity_l": "10", "solvent": "ethanol", "volume_unit": "us_gal"}
    client.post("/rooms/new", data=data)
    assert tanks_of(store, "north-hall")[0].capacity_l == pytest.approx(37.85411784)  # NIST SP 811


def test_a_pair_rinses_in_its_clean_bath(client: TestClient, store: Store) -> None:
    data = {**NEW, "start": "pair", "capacity_l": "20", "solvent": "isopropanol"}
    client.post("/rooms/new", data=data)
    dirty, clean = tanks_of(store, "north-hall")
    assert (dirty.pair, clean.pair) == (clean.key, None)
    assert clean.limit_percent < dirty.limit_percent


def test_a_room_like_another_has_its_tanks_and_resins(client: TestClient, store: Store) -> None:
    page = client.get("/rooms/new")
    assert "Same as Test room" in page.text
    page = client.post("/rooms/new", data={**NEW, "start": f"like:{ROOM}"})
    assert page.status_code == 200
    told = ("key", "name", "place", "capacity_l", "min_l", "solvent", "pair", "limit_basis",
            "limit_entered", "stop_entered", "life_days", "life_washes")  # fmt: skip
    here, there = (
        [tuple(getattr(one, name) for name in told) for one in tanks_of(store, key)]
        for key in (ROOM, "north-hall")
    )
    assert there == here
    assert there
    with reading(store) as session:
        keys = [
            [resin.key for resin in queries.resins(session, room.id or 0)]
            for room in queries.every_room(session)
        ]
    assert keys[0] == keys[1] != []


@pytest.mark.parametrize(
    "change, message",
    [
        ({"start": "2", "solvent": "isopropanol"}, "Volume to the upper mark is missing"),
        ({"start": "2", "capacity_l": "-4", "solvent": "isopropanol"}, "between"),
        ({"start": "2", "capacity_l": "40", "solvent": "mead"}, "not in the solvent table"),
        ({"start": "seven"}, "Choose what the room begins with"),
    ],
)
def test_a_beginning_that_does_not_fit_stores_no_room(
    client: TestClient, change: dict[str, str], message: str
) -> None:
    page = client.post("/rooms/new", data={**NEW, **change})
    assert page.status_code == 422
    assert message in page.text
    assert "North hall" not in client.get("/rooms").text


def test_a_room_that_is_not_there_is_not_copied(client: TestClient) -> None:
    assert client.post("/rooms/new", data={**NEW, "start": "like:nowhere"}).status_code == 404
    assert "North hall" not in client.get("/rooms").text


def test_sent_twice_it_is_one_room(client: TestClient, store: Store) -> None:
    data = {
        **NEW, "start": "2", "capacity_l": "40", "solvent": "isopropanol", "submission": "s1"
    }  # fmt: skip
    for _ in range(2):
        assert client.post("/rooms/new", data=data).url.path == "/rooms/north-hall"
    assert len(tanks_of(store, "north-hall")) == 2
