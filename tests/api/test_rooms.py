"""Rooms over the API."""

from concurrent.futures import ThreadPoolExecutor
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


def put(client: TestClient, settings: dict[str, Any]) -> Any:
    """Change the room as it stands."""
    seen = client.get(BASE).headers["etag"]
    return client.put(BASE, json=settings, headers={"If-Match": seen})


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


def test_rooms_whose_names_give_one_key_get_keys_of_their_own(client: TestClient) -> None:
    names = ["Annex", "Annex!"]
    keys = [client.post(ROOMS, json={"name": name}).json()["key"] for name in names]
    assert keys == ["annex", "annex-2"]


def test_equal_posts_make_one_room(client: TestClient) -> None:
    answers = [client.post(ROOMS, json={"name": "Annex"}) for _ in range(20)]
    assert [answer.status_code for answer in answers] == [201] + 19 * [422]
    assert "There is already a room “Annex”" in answers[1].json()["errors"][0]["message"]
    alike = client.post(ROOMS, json={"name": " ANNEX ", "key": "other"})
    assert alike.status_code == 422
    assert len(client.get(ROOMS).json()["rooms"]) == 2


def test_posts_at_the_same_instant_make_one_room(client: TestClient) -> None:
    with ThreadPoolExecutor(8) as pool:
        send = lambda _: client.post(ROOMS, json={"name": "Annex"}).status_code  # noqa: E731
        assert sorted(pool.map(send, range(16))) == [201] + 15 * [422]


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
    answer = put(client, SETTINGS)
    assert answer.status_code == 200
    assert answer.json() == client.get(BASE).json()
    assert {name: answer.json()[name] for name in SETTINGS} == SETTINGS


def test_a_change_gives_all_settings(client: TestClient) -> None:
    answer = put(client, {"name": "Cellar"})
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
        put(client, {**SETTINGS, **change}),
        client.post(ROOMS, json={**SETTINGS, **change}),
    ):
        assert answer.status_code == 422
        assert field in {item["field"] for item in answer.json()["errors"]}


def test_who_enters_something_is_offered_again(client: TestClient) -> None:
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3, "by": "Kim"}
    client.post(f"{BASE}/entries", json=wash)
    assert set(client.get(f"{BASE}/people").json()["people"]) == {"Kim", "Robin"}


def test_a_change_says_what_it_was_based_on(client: TestClient) -> None:
    """RFC 6585, section 3."""
    answer = client.put(BASE, json=SETTINGS)
    assert answer.status_code == 428
    assert "If-Match" in answer.json()["detail"]
    assert client.get(BASE).json()["name"] != "Cellar"


@pytest.mark.parametrize("tag", ['"nonsense"', "nonsense", "", '"1-0"', "weak", '"a", "b"'])
def test_a_change_of_what_was_changed_meanwhile_is_refused(client: TestClient, tag: str) -> None:
    """RFC 9110, sections 13.1.1 and 8.8.3.2: a weak tag matches nothing."""
    sent = f"W/{client.get(BASE).headers['etag']}" if tag == "weak" else tag
    answer = client.put(BASE, json=SETTINGS, headers={"If-Match": sent})
    assert answer.status_code == 412
    assert client.get(BASE).json()["name"] != "Cellar"


def test_of_two_changes_of_the_same_the_second_is_refused(client: TestClient) -> None:
    seen = {"If-Match": f'"else", {client.get(BASE).headers["etag"]}'}
    assert client.put(BASE, json=SETTINGS, headers=seen).status_code == 200
    other = {**SETTINGS, "name": "Attic"}
    assert client.put(BASE, json=other, headers=seen).status_code == 412
    assert client.get(BASE).json()["name"] == "Cellar"
    assert client.put(BASE, json=other, headers={"If-Match": "*"}).status_code == 200


def test_a_room_takes_no_name_of_another(client: TestClient) -> None:
    client.post(ROOMS, json={"name": "Annex"})
    answer = put(client, {**SETTINGS, "name": "annex"})
    assert answer.status_code == 422
    assert put(client, SETTINGS).status_code == 200
    assert put(client, {**SETTINGS, "mass_unit": "g"}).status_code == 200
