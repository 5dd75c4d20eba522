"""A scale's litres that a drum or a tank cannot hold are told, and no one touch takes them."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from tests.factories import ROOM, tank
from tests.services.waste_room import drum
from tests.visiting import visiting

AT, API = f"/rooms/{ROOM}", f"/api/v1/rooms/{ROOM}"


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """Two drums of 100 L with room for 70 L, and a tank of 30 L beside one of 40 L."""
    drums = [drum(key, volume_l=20.0) for key in ("d1", "d2")]
    small = tank("small", capacity_l=30.0, min_l=20.0)
    with visiting(tmp_path, [*drums, small]) as client:
        yield client


def weigh(client: TestClient, before_kg: float, after_kg: float, **what: str) -> None:
    for moment, kg in (("before", before_kg), ("after", after_kg)):
        said = {"kind": "scale_weight", "scale": "Floor", "moment": moment, "shown_kg": kg, **what}
        assert client.post(f"{API}/entries", json=said).status_code == 201


def test_a_pour_is_offered_no_more_than_the_drum_has_room_for(client: TestClient) -> None:
    weigh(client, 20.0, 70.0, drum="d1")
    assert "scale-take" in client.get(f"{AT}/waste/drums/d1/pour").text
    weigh(client, 20.0, 90.0, drum="d2")
    page = client.get(f"{AT}/waste/drums/d2/pour").text
    assert "scale-take" not in page
    assert "but the drum has room for 70.0 L. Is it the right drum?" in page


def test_a_pour_is_offered_no_more_than_its_tank_holds(client: TestClient) -> None:
    weigh(client, 20.0, 70.0, drum="d1")
    page = client.get(f"{AT}/waste/drums/d1/pour?tank=small").text
    assert "scale-take" not in page
    assert "SMALL holds" in page
    assert "Is it the right tank?" in page


def test_a_top_up_is_offered_no_more_than_the_tank_holds(client: TestClient) -> None:
    weigh(client, 70.0, 69.0, tank="small")
    assert "scale-take" in client.get(f"{AT}/tanks/small/log/top-up").text
    weigh(client, 70.0, 20.0, tank="t1")
    page = client.get(f"{AT}/tanks/t1/log/top-up").text
    assert "scale-take" not in page
    assert "Is it the right container?" in page
