"""Rooms over the API."""

from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.api.conftest import BASE
from tests.factories import NOW, ROOM

ROOMS = "/api/v1/rooms"
SETTINGS = {
    "name": "Cellar", "time_zone": "Europe/Dublin", "volume_unit": "us_gal",
    "temperature_unit": "f", "mass_unit": "oz", "area_unit": "in2",
}  # fmt: skip


def test_rooms_are_listed(client: TestClient) -> None:
    assert [room["key"] for room in client.get(ROOMS).json()["rooms"]] == [ROOM]


def test_a_room_is_set_up_and_read(client: TestClient) -> None:
    answer = client.post(ROOMS, json={"name": "North wing"})
    assert answer.status_code == 201
    assert answer.headers["location"] == f"{ROOMS}/north-wing"
    room = client.get(answer.headers["location"]).json()
    assert room == answer.json()
    assert (room["name"], room["time_zone"], room["volume_unit"]) == ("North wing", "UTC", "l")
    assert room["created_at"] == NOW.isoformat().replace("+00:00", "Z")
    assert client.get(f"{ROOMS}/north-wing/tanks").json() == {"tanks": []}


def test_two_rooms_of_one_name_get_keys_of_their_own(client: TestClient) -> None:
    keys = [client.post(ROOMS, json={"name": "Annex"}).json()["key"] for _ in range(2)]
    assert keys == ["annex", "annex-2"]


def test_a_retry_sets_up_one_room(client: TestClient) -> None:
    key = {"Idempotency-Key": "k"}
    first = client.post(ROOMS, json={"name": "Annex"}, headers=key)
    again = client.post(ROOMS, json={"name": "Annex"}, headers=key)
    assert (again.status_code, again.json()) == (201, first.json())
    assert again.headers["idempotent-replayed"] == "true"
    assert len(client.get(ROOMS).json()["rooms"]) == 2


def test_a_key_that_is_taken_conflicts(client: TestClient) -> None:
    assert client.post(ROOMS, json={"name": "Other", "key": ROOM}).status_code == 409


def test_a_room_is_changed(client: TestClient) -> None:
    answer = client.put(BASE, json=SETTINGS)
    assert answer.status_code == 200
    assert answer.json() == client.get(BASE).json()
    assert {name: answer.json()[name] for name in SETTINGS} == SETTINGS


def test_a_change_gives_all_settings(client: TestClient) -> None:
    answer = client.put(BASE, json={"name": "Cellar"})
    assert answer.status_code == 422
    assert {item["field"] for item in answer.json()["errors"]} == set(SETTINGS) - {"name"}


@pytest.mark.parametrize(
    "change, field",
    [
        ({"name": ""}, "name"),
        ({"name": "   "}, "name"),
        ({"name": "x" * 81}, "name"),
        ({"name": "a\x00b"}, "name"),
        ({"name": 5}, "name"),
        ({"time_zone": "Mars/Olympus"}, "time_zone"),
        ({"time_zone": "../../etc/passwd"}, "time_zone"),
        ({"time_zone": "\x00"}, "time_zone"),
        ({"volume_unit": "pint"}, "volume_unit"),
        ({"volume_unit": True}, "volume_unit"),
        ({"owner": "me"}, "owner"),
    ],
)
def test_settings_that_do_not_fit_are_named(
    client: TestClient, change: dict[str, Any], field: str
) -> None:
    for answer in (
        client.put(BASE, json={**SETTINGS, **change}),
        client.post(ROOMS, json={**SETTINGS, **change}),
    ):
        assert answer.status_code == 422
        assert field in {item["field"] for item in answer.json()["errors"]}


def test_who_enters_something_is_offered_again(client: TestClient) -> None:
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3, "by": "Kim"}
    client.post(f"{BASE}/entries", json=wash)
    assert set(client.get(f"{BASE}/people").json()["people"]) == {"Kim", "Robin"}
