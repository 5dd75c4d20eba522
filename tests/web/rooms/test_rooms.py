"""Rooms, resins, people and rejects."""

import re

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Reject
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, wash

UNITS = {"volume_unit": "l", "temperature_unit": "c", "mass_unit": "g", "area_unit": "cm2"}


def test_a_room_is_set_up_and_opens(client: TestClient) -> None:
    page = client.post(
        "/rooms/new", data={"name": "North hall", "time_zone": "Europe/Dublin", **UNITS}
    )
    assert page.status_code == 200
    assert page.url.path == "/rooms/north-hall"


@pytest.mark.parametrize(
    "change,message",
    [
        ({"name": ""}, "Give the room a name"),
        ({"name": "x" * 81}, "At most 80"),
        ({"time_zone": "Nowhere/Land"}, "not known"),
        ({"time_zone": "../../etc/passwd"}, "not known"),
        ({"volume_unit": "firkin"}, "Choose one of"),
    ],
)
def test_a_room_that_does_not_fit_is_refused(
    client: TestClient, change: dict[str, str], message: str
) -> None:
    data = {"name": "North hall", "time_zone": "UTC", **UNITS, **change}
    page = client.post("/rooms/new", data=data)
    assert page.status_code == 422
    assert message in page.text


def test_a_resin_is_added_once(client: TestClient) -> None:
    data = {"resin": "opal", "name": "Opal", "density_g_ml": "1.10"}
    assert "Opal" in client.post(f"/rooms/{ROOM}/resins", data=data).text
    again = client.post(f"/rooms/{ROOM}/resins", data=data)
    assert again.status_code == 422
    assert "already" in again.text


def test_a_resin_that_was_never_washed_says_so(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(2)], NOW)
    page = client.get(f"/rooms/{ROOM}/resins").text
    assert "never washed here yet" in page


def test_a_name_is_kept_on_the_tablet(client: TestClient) -> None:
    page = client.post(f"/rooms/{ROOM}/who", data={"by": "Dunlin"})
    assert page.status_code == 200
    client.post(f"/rooms/{ROOM}/tanks/t1/log/wash", data={"resin": "slate", "parts": "3"})
    assert "Dunlin" in client.get(f"/rooms/{ROOM}/tanks/t1").text


@pytest.mark.parametrize(
    "back", ["//evil.test/x", "https://evil.test", "/\\evil.test", "javascript:x"]
)
def test_going_back_never_leaves_the_room(client: TestClient, back: str) -> None:
    answer = client.post(
        f"/rooms/{ROOM}/who", data={"by": "Wren", "back": back}, follow_redirects=False
    )
    assert answer.headers["location"] == f"/rooms/{ROOM}"


def test_rejects_by_saturation_are_honest_about_few_data(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(3), Reject(at=NOW, tank="t1", finding="tacky")], NOW)
    page = client.get(f"/rooms/{ROOM}/rejects").text
    assert "Too early to tell" in page
    assert "1 reject in" in page


def test_a_reject_takes_one_touch_on_its_form(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(1)], NOW)
    answer = client.post(
        f"/rooms/{ROOM}/tanks/t1/log/reject", data={"finding": "tacky"}, follow_redirects=False
    )
    assert answer.status_code == 303
    assert "1 reject" in client.get(f"/rooms/{ROOM}/rejects").text


def test_no_rejects_and_no_washes_says_so(client: TestClient) -> None:
    assert "No wash was logged" in client.get(f"/rooms/{ROOM}/rejects").text


def test_of_two_who_change_the_settings_the_second_sees_the_first(client: TestClient) -> None:
    form = client.get(f"/rooms/{ROOM}/settings").text
    seen = re.findall(r'name="seen" value="([0-9a-f]+)"', form)[0]
    typed = {"time_zone": "UTC", **UNITS, "seen": seen}
    assert client.post(f"/rooms/{ROOM}/settings", data={**typed, "name": "Hall"}).status_code == 200
    later = {**typed, "name": "Attic", "mass_unit": "oz"}
    page = client.post(f"/rooms/{ROOM}/settings", data=later)
    assert page.status_code == 409
    assert "Somebody changed this meanwhile to: Hall." in page.text
    assert 'value="Attic"' in page.text
    seen = re.findall(r'name="seen" value="([0-9a-f]+)"', page.text)[0]
    assert client.post(f"/rooms/{ROOM}/settings", data={**later, "seen": seen}).status_code == 200
    assert "Attic" in client.get(f"/rooms/{ROOM}").text


def test_a_second_room_of_one_name_is_refused_beside_it(client: TestClient) -> None:
    data = {"name": "North hall", "time_zone": "UTC", **UNITS}
    assert client.post("/rooms/new", data=data).status_code == 200
    page = client.post("/rooms/new", data=data)
    assert page.status_code == 422
    assert "There is already a room “North hall”." in page.text
