"""A bath of water-based cleaner: what may be read in it, by the form, by programs and at a swap."""

import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.roomlog.kinds import Calibration, Reading, Swap, Wash
from app.domain.solvents import solvent
from app.domain.waste.streams import STREAMS, stream_of_bath, why_apart
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.tables import TankRow
from tests.answers import sure
from tests.factories import NOW, ROOM, tank

AT = f"/rooms/{ROOM}/tanks/water"
API = f"/api/v1/rooms/{ROOM}/entries"
BRIX_8 = {"method": "refractometer", "brix_percent": "8", "temperature_c": "20"}
FRESH = {"kind": "reading", "tank": "water", "method": "refractometer", "brix_percent": 8.0,
         "temperature_c": 20.0, "at": NOW.isoformat()}  # fmt: skip


@pytest.fixture(autouse=True)
def filled(store: Store) -> None:
    new = tank("water", solvent="water_based", fresh_purity_percent=None, limit_percent=8.0)
    record(store, ROOM, [new], NOW)


def mean(store: Store) -> float:
    with Session(store.reader) as session:
        row = session.get(TankRow, (find_room(session, ROOM).id, "water"))
        assert row is not None
        return row.mean_percent


def test_a_fresh_cleaner_is_refused_with_what_to_do(client: TestClient, store: Store) -> None:
    form = client.get(f"{AT}/log/reading").text
    assert 'name="brix_percent"' in form  # the refractometer comes first here
    page = client.post(f"{AT}/log/reading", data=BRIX_8)
    assert page.status_code == 422
    assert "Read it while it is fresh" in page.text
    assert 'value="8"' in page.text
    assert mean(store) < 1.0


@pytest.mark.parametrize(
    "values", [{"method": "hydrometer", "density_g_ml": "1.03", "temperature_c": "20"},
               {"method": "residue", "sample_g": "10", "residue_g": "0.8"}],
)  # fmt: skip
def test_what_cannot_tell_is_refused(client: TestClient, values: dict[str, str]) -> None:
    page = client.post(f"{AT}/log/reading", data=values)
    assert page.status_code == 422
    assert "Use a refractometer" in page.text


def test_the_fills_own_fresh_reading_makes_later_ones_count(
    client: TestClient, store: Store
) -> None:
    assert sure(client, f"{AT}/log/reading", BRIX_8 | {"of_fresh": "on"}).status_code == 200
    assert mean(store) < 1.0
    same = client.get(f"{AT}/preview", params=BRIX_8).text
    assert re.search(r"<strong>-?0\.0\s%</strong> resin by mass", same)
    # 12 Brix is an index of 1.3509, 8 Brix 1.3448 (sucrose, ICUMSA 1974): by volume
    # (1.3509 - 1.3448) / (1.49 - 1.3448) = 4.2 % of a resin of 1.1 to 1.2, 4.7 to 5 % by mass.
    more = client.get(f"{AT}/preview", params=BRIX_8 | {"brix_percent": "12"}).text
    found = re.search(r"<strong>(\d\.\d)\s%</strong> resin by mass", more)
    assert found
    assert float(found[1]) == pytest.approx(4.8, abs=0.3)


def test_the_rooms_calibration_does_as_well(client: TestClient, store: Store) -> None:
    points = ((8.0, 0.0), (14.0, 6.0))
    made = Calibration(at=NOW, solvent="water_based", scale="brix_percent", points=points)
    record(store, ROOM, [made], NOW)
    assert sure(client, f"{AT}/log/reading", BRIX_8).status_code == 200
    assert mean(store) < 1.5


def test_a_program_is_refused_as_well(client: TestClient) -> None:
    answer = client.post(API, json=FRESH)
    assert answer.status_code == 422
    assert "while it is fresh" in answer.text
    assert client.post(API, json=FRESH | {"of_fresh": True}).status_code == 201


def test_a_bath_that_was_washed_in_is_asked_about_before_it_counts_as_fresh(
    client: TestClient, store: Store
) -> None:
    """As fresh it would be what later readings are held against: they would show no resin."""
    loads = [
        Wash(at=NOW - timedelta(hours=9 - hour), tank="water", resin="slate", area_cm2=9000.0)
        for hour in range(8)
    ]
    filled_at = NOW - timedelta(hours=10)
    record(store, ROOM, [Swap(at=filled_at, tank="water", drained_l=38.0, filled_l=39.0)], NOW)
    record(store, ROOM, loads, NOW)
    assert mean(store) > 2.5
    page = client.post(f"{AT}/log/reading", data=BRIX_8 | {"of_fresh": "on"})
    assert page.status_code == 422
    assert "Was the sample fresh liquid" in page.text
    said = client.post(API, json=FRESH | {"of_fresh": True})
    assert said.status_code == 409
    assert "Was the sample fresh liquid" in said.text
    early = FRESH | {"of_fresh": True, "at": (filled_at + timedelta(minutes=9)).isoformat()}
    assert client.post(API, json=early).status_code == 201


def test_an_old_reading_that_was_brought_in_moves_nothing(store: Store) -> None:
    values = {"brix_percent": 8.0, "temperature_c": 20.0}
    old = Reading(at=NOW + timedelta(hours=1), tank="water", method="refractometer", values=values)
    record(store, ROOM, [old], NOW + timedelta(hours=2))
    assert mean(store) < 1.0


def test_waste_water_is_a_stream_of_its_own_and_stays_out_of_the_drain(client: TestClient) -> None:
    key = stream_of_bath("water_based")
    assert key == solvent("water_based").waste.key
    assert all(why_apart(key, other) for other in STREAMS if other != key)
    assert any("never down the drain" in line for line in STREAMS[key].hazards)
    assert "never down the drain" in client.get(f"{AT}/log/removal").text.lower()
