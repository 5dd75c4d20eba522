"""While a newer forecast is due, pages and programs are told as of when the days are."""

from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.config import Settings
from app.domain.roomlog.kinds import Entry
from app.main import create_app
from app.services.baths.soon import make_due
from app.services.door import bring_in
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash

LATER = NOW + timedelta(minutes=2)
PAGES = [
    "", "/tanks/t1", "/plan", "/shelf", "/shelf/orders", "/spend/ahead", "/hand-over", "/duties",
]  # fmt: skip
AS_OF = "Days as of 12:00"


@pytest.fixture
def store(either_store: Store) -> Store:
    """A database of either kind, where forecasts come after the entries."""
    furnish(either_store, tanks=2)
    used: list[Entry] = [wash(9 - n, area_cm2=3000.0, id=f"d{n}") for n in range(8)]
    bring_in(either_store, ROOM, [*used, sensor_reading(0.5, 3.0, id="r")], NOW)
    either_store.makes_forecasts_soon = True
    return either_store


@pytest.fixture
def client(store: Store, tmp_path: Path) -> TestClient:
    """A browser two minutes after the last entries."""
    app = create_app(Settings(data_dir=tmp_path), clock=lambda: LATER, store=store)
    return TestClient(app, base_url="http://room.test")


def log_a_wash(client: TestClient) -> None:
    body = {"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 2000.0, "by": "Ada"}
    assert client.post(f"/api/v1/rooms/{ROOM}/entries", json=body).status_code == 201


@pytest.mark.parametrize("page", PAGES)
def test_a_page_says_it_until_the_newer_one_is_there(
    client: TestClient, store: Store, page: str
) -> None:
    address = f"/rooms/{ROOM}{page}"
    assert "Days as of" not in client.get(address).text
    log_a_wash(client)
    between = client.get(address).text
    assert AS_OF in between
    make_due(store)
    after = client.get(address).text
    assert "Days as of" not in after
    assert after.count('<p class="as-of">') == between.count('<p class="as-of">') > 0


def test_the_wall_says_it_too(client: TestClient, store: Store) -> None:
    address, said = f"/rooms/{ROOM}/wall", "Days as of<br>12:00"
    assert "Days as of" not in client.get(address).text
    log_a_wash(client)
    assert said in client.get(address).text
    make_due(store)
    assert "Days as of" not in client.get(address).text


def test_a_tank_whose_day_is_too_early_to_say_has_none_to_be_old(
    client: TestClient, store: Store
) -> None:
    bring_in(store, ROOM, [wash(0.1, "t2", id="other")], LATER)
    assert "Days as of" not in client.get(f"/rooms/{ROOM}/tanks/t2").text
    assert "Days as of" not in client.get(f"/rooms/{ROOM}").text


def test_a_program_is_told_that_a_newer_one_is_due(client: TestClient, store: Store) -> None:
    tank = f"/api/v1/rooms/{ROOM}/tanks/t1"
    before = client.get(tank).json()
    assert before["forecast"]["newer_due_at"] is None
    log_a_wash(client)
    between = client.get(tank).json()
    assert between["forecast"] == before["forecast"] | {"newer_due_at": "2026-03-02T12:02:00Z"}
    assert between["estimate"]["mean"] != before["estimate"]["mean"]
    make_due(store)
    after = client.get(tank).json()
    assert after["forecast"]["made_at"] == "2026-03-02T12:02:00Z"
    assert after["forecast"]["newer_due_at"] is None
    assert after["estimate"] == between["estimate"]


@pytest.mark.parametrize("path", ["/tanks", "/tanks/t1", "/swaps", "/plan"])
def test_a_copy_of_before_the_forecast_is_not_taken_for_the_present_one(
    client: TestClient, store: Store, path: str
) -> None:
    address = f"/api/v1/rooms/{ROOM}{path}"
    log_a_wash(client)
    etag = client.get(address).headers["etag"]
    assert client.get(address, headers={"If-None-Match": etag}).status_code == 304
    make_due(store)
    assert client.get(address, headers={"If-None-Match": etag}).status_code == 200


def test_a_page_of_before_the_forecast_is_not_either(client: TestClient, store: Store) -> None:
    log_a_wash(client)
    etag = client.get(f"/rooms/{ROOM}").headers["etag"]
    make_due(store)
    answer = client.get(f"/rooms/{ROOM}", headers={"If-None-Match": etag})
    assert (answer.status_code, answer.headers["etag"]) != (304, etag)


def test_a_change_of_the_room_is_not_refused_for_a_forecast(
    client: TestClient, store: Store
) -> None:
    """The tag that a change of the settings names is of what people change."""
    log_a_wash(client)
    address = f"/api/v1/rooms/{ROOM}"
    found = client.get(address)
    make_due(store)
    body = {
        key: found.json()[key]
        for key in (
            "name",
            "time_zone",
            "volume_unit",
            "temperature_unit",
            "mass_unit",
            "area_unit",
        )
    }
    etag = found.headers["etag"].removeprefix("W/")
    answer = client.put(address, json=body | {"name": "Other"}, headers={"If-Match": etag})
    assert answer.status_code == 200, answer.text


def test_what_a_reading_is_worth_stays_what_was_shown_with_the_days(
    client: TestClient, store: Store
) -> None:
    tank = f"/api/v1/rooms/{ROOM}/tanks/t1"
    before = client.get(tank).json()["worth_of_readings"]
    assert before
    log_a_wash(client)
    assert client.get(tank).json()["worth_of_readings"] == before
    make_due(store)
    assert client.get(tank).json()["worth_of_readings"] != before
