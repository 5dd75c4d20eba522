"""An entry before it is saved."""

from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.api.conftest import BASE

PREVIEW = f"{BASE}/preview"
SENSOR = {"kind": "reading", "tank": "t1", "method": "sensor"}


def test_a_reading_is_converted_without_being_stored(client: TestClient) -> None:
    before = client.get(f"{BASE}/entries").json()
    answer = client.post(PREVIEW, json={**SENSOR, "saturation_percent": 5.0})
    assert answer.status_code == 200
    measured = answer.json()["measured"]
    assert measured["saturation"]["mass_percent"] == 5.0
    assert measured["saturation"]["g_per_l"] > 0
    assert measured["sd_percent"] > 0
    assert answer.json()["doubts"] == []
    assert client.get(f"{BASE}/entries").json() == before


def test_a_residue_test_is_converted_as_the_standard_defines_it(client: TestClient) -> None:
    """Non-volatile matter NV = 100 m2 / m1 (ISO 3251, from memory)."""
    body = {"kind": "reading", "tank": "t1", "method": "residue", "sample_g": 2.0, "residue_g": 0.1}
    measured = client.post(PREVIEW, json=body).json()["measured"]
    assert measured["saturation"]["mass_percent"] == pytest.approx(5.0, abs=0.3)


def test_an_implausible_reading_is_doubted(client: TestClient) -> None:
    answer = client.post(PREVIEW, json={**SENSOR, "saturation_percent": 60.0}).json()
    assert answer["doubts"]
    assert answer["measured"]["expected_percent"] < 20


def test_an_unusual_load_is_doubted(client: TestClient) -> None:
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 1_000_000}
    (doubt,) = client.post(PREVIEW, json=wash).json()["doubts"]
    assert "1,000 times what is usual" in doubt
    usual = client.post(PREVIEW, json={**wash, "area_cm2": 1300}).json()
    assert usual == {"doubts": [], "measured": None}


def test_fresh_solvent_is_a_baseline_without_saturation(client: TestClient) -> None:
    body = {"kind": "reading", "tank": "t1", "method": "hydrometer", "of_fresh": True,
            "density_g_ml": 0.79, "temperature_c": 20}  # fmt: skip
    answer = client.post(PREVIEW, json=body).json()
    assert answer["measured"] is None
    assert ["in this bath since its fill" in one for one in answer["doubts"]] == [True]


@pytest.mark.parametrize(
    "change, field",
    [
        ({"tank": "t9"}, "tank"),
        ({"saturation_percent": 140}, "saturation_percent"),
        ({"saturation_percent": None}, "saturation_percent"),
        ({"method": "nose"}, "method"),
        ({"at": "2030-01-01T00:00:00Z"}, "at"),
    ],
)
def test_what_does_not_fit_is_named(client: TestClient, change: dict[str, Any], field: str) -> None:
    answer = client.post(PREVIEW, json={**SENSOR, "saturation_percent": 5.0, **change})
    assert answer.status_code == 422
    assert field in {item["field"] for item in answer.json()["errors"]}
