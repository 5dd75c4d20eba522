"""Entries over the API: adding one or many, reading, correcting, withdrawing."""

from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.api.asking import ENTRIES, WASH, count, errors_of
from tests.clocks import Clock
from tests.factories import NOW, START


def test_a_wash_is_added(client: TestClient) -> None:
    answer = client.post(ENTRIES, json={**WASH, "by": "Kim", "note": "two racks"})
    assert answer.status_code == 201
    (entry_id,) = answer.json()["ids"]
    assert answer.headers["location"] == f"{ENTRIES}/{entry_id}"
    stored = client.get(answer.headers["location"]).json()
    assert stored["entry"] == {
        "kind": "wash", "at": NOW.isoformat(), "id": entry_id, "entered_at": NOW.isoformat(),
        "by": "Kim", "note": "two racks", "tank": "t1", "resin": "slate", "area_cm2": 900.0,
    }  # fmt: skip
    assert stored["effect"]["resin_in_g"] > 0


def test_every_kind_that_a_client_may_send_can_be_added(client: TestClient) -> None:
    tank = {"tank": "t1"}
    load = {**tank, "resin": "kiln", "parts": 12}
    sent = [
        {"kind": "tank", "tank": "t3", "name": "Third", "capacity_l": 20, "solvent": "isopropanol"},
        {"kind": "tank_change", "limit_g_l": 90.0, "life_washes": 400, **tank},
        {"kind": "resin", "resin": "moss", "name": "Moss", "density_g_ml": 1.1},
        {"kind": "calibration", "solvent": "isopropanol", "scale": "index",
         "points": [[1.377, 0], [1.389, 10]]},
        {"kind": "wash", **load},
        {"kind": "planned_wash", "at": (NOW + timedelta(days=2)).isoformat(), **load},
        {"kind": "top_up", "volume_l": 1.5, **tank},
        {"kind": "removal", "volume_l": 0.5, **tank},
        {"kind": "solids_removed", **tank},
        {"kind": "swap_started", **tank},
        {"kind": "swap", "drained_l": 38.0, "filled_l": 38.0, **tank},
        {"kind": "swap_started", "tank": "t2"},
        {"kind": "swap_abandoned", "tank": "t2"},
        {"kind": "reject", "finding": "tacky", "parts": 2, **tank},
        {"kind": "reading", "method": "sensor", "saturation_percent": 1.0, **tank},
    ]  # fmt: skip
    for entry in sent:
        answer = client.post(ENTRIES, json=entry)
        assert answer.status_code == 201, (entry, answer.text)
        stored = client.get(answer.headers["location"]).json()["entry"]
        assert {**stored, **entry} == stored


def test_a_time_with_another_offset_is_kept_as_the_same_instant(client: TestClient) -> None:
    answer = client.post(ENTRIES, json={**WASH, "at": "2026-03-02T08:30:00.250+02:00"})
    stored = client.get(answer.headers["location"]).json()["entry"]
    assert datetime.fromisoformat(stored["at"]) == datetime.fromisoformat(
        "2026-03-02T06:30:00.250Z"
    )


@pytest.mark.parametrize(
    "at, words",
    [
        ("2026-03-02T08:30:00", "offset"),
        ("2026-03-02", "offset"),
        ("20260302T083000Z", "offset"),
        ("2026-13-02T08:30:00Z", "not a time"),
        ("1066-10-14T09:00:00Z", "1970"),
        (1772440200, "offset"),
        ((NOW + timedelta(hours=1)).isoformat(), "future"),
        ((START - timedelta(days=1)).isoformat(), "only came into use"),
    ],
)
def test_a_time_that_cannot_be_is_refused(client: TestClient, at: Any, words: str) -> None:
    answer = client.post(ENTRIES, json={**WASH, "at": at})
    assert answer.status_code == 422
    assert words in errors_of(answer)["at"]


@pytest.mark.parametrize(
    "change, field",
    [
        ({"tank": "nowhere"}, "tank"),
        ({"tank": "../etc"}, "tank"),
        ({"resin": "unheard"}, "resin"),
        ({"area_cm2": None}, "parts"),
        ({"area_cm2": -3}, "area_cm2"),
        ({"area_cm2": True}, "area_cm2"),
        ({"area_cm2": "900"}, "area_cm2"),
        ({"area_cm2": 1e999}, "area_cm2"),
        ({"parts": 2.5}, "parts"),
        ({"parts": -5}, "parts"),
        ({"parts": 2**63}, "parts"),
        ({"parts": 10**400}, "parts"),
        ({"parts": False}, "parts"),
        ({"is_admin": True}, "is_admin"),
        ({"corrects": "w1"}, "corrects"),
        ({"entered_at": "2026-01-01T00:00:00Z"}, "entered_at"),
        ({"note": "x" * 2001}, "note"),
        ({"note": "a\x00b"}, "note"),
        ({"note": 7}, "note"),
        ({"by": "y" * 81}, "by"),
        ({"id": "with space"}, "id"),
        ({"kind": "withdrawal"}, "kind"),
        ({"kind": ["wash"]}, "kind"),
        ({"kind": None}, "kind"),
    ],
)
def test_what_does_not_fit_is_named_and_not_stored(
    client: TestClient, change: dict[str, Any], field: str
) -> None:
    before = count(client)
    body = {**WASH, **change}
    if change.get("area_cm2") == float("inf"):
        answer = client.post(
            ENTRIES, content='{"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 1e999}',
            headers={"Content-Type": "application/json"},
        )  # fmt: skip
    else:
        answer = client.post(ENTRIES, json=body)
    assert answer.status_code == 422
    assert field in errors_of(answer)
    assert count(client) == before


@pytest.mark.parametrize(
    "reading, field",
    [
        ({"method": "sensor", "saturation_percent": 140}, "saturation_percent"),
        ({"method": "hydrometer", "density_g_ml": 8, "temperature_c": 20}, "density_g_ml"),
        ({"method": "hydrometer", "density_g_ml": 0.8}, "temperature_c"),
        ({"method": "hydrometer", "density_g_ml": 0.8, "temperature_c": 400}, "temperature_c"),
        ({"method": "dowsing_rod"}, "method"),
        ({}, "method"),
    ],
)
def test_a_reading_that_cannot_be_is_named(
    client: TestClient, reading: dict[str, Any], field: str
) -> None:
    answer = client.post(ENTRIES, json={"kind": "reading", "tank": "t1", **reading})
    assert answer.status_code == 422
    assert field in errors_of(answer)


def test_an_entry_whose_id_is_stored_is_not_doubled(client: TestClient) -> None:
    before = count(client)
    answer = client.post(ENTRIES, json={**WASH, "id": "w3"})
    assert (answer.status_code, answer.json()) == (200, {"ids": [], "skipped": 1})
    assert count(client) == before


def test_a_retry_counts_once_and_is_answered_as_the_first_time(
    client: TestClient, clock: Clock
) -> None:
    key = {"Idempotency-Key": '"8e03978e-40d5-43dd-bc93-6894a57f9324"'}
    before = count(client)
    first = client.post(ENTRIES, json=WASH, headers=key)
    clock.wait(seconds=20)
    again = client.post(ENTRIES, json=dict(reversed(WASH.items())), headers=key)
    assert (again.status_code, again.json()) == (first.status_code, first.json())
    assert "idempotent-replayed" not in first.headers
    assert again.headers["idempotent-replayed"] == "true"
    assert again.headers["location"] == first.headers["location"]
    assert count(client) == before + 1


def test_a_key_is_not_taken_for_other_content(client: TestClient) -> None:
    """422 as draft-ietf-httpapi-idempotency-key-header-07 section 2.7 asks (from memory)."""
    key = {"Idempotency-Key": "k1"}
    assert client.post(ENTRIES, json=WASH, headers=key).status_code == 201
    assert client.post(ENTRIES, json={**WASH, "area_cm2": 901}, headers=key).status_code == 422


def test_a_refused_write_leaves_its_key_free(client: TestClient) -> None:
    key = {"Idempotency-Key": "k2"}
    assert client.post(ENTRIES, json={**WASH, "tank": "t9"}, headers=key).status_code == 422
    assert client.post(ENTRIES, json=WASH, headers=key).status_code == 201


@pytest.mark.parametrize("key", ["", "x" * 256, "two words"])
def test_a_key_of_a_wrong_shape_is_refused(client: TestClient, key: str) -> None:
    answer = client.post(ENTRIES, json=WASH, headers={"Idempotency-Key": key})
    assert answer.status_code == 422


def test_a_batch_is_added(client: TestClient) -> None:
    at = [(NOW - timedelta(hours=hours)).isoformat() for hours in range(3)]
    body = {"entries": [{**WASH, "at": moment} for moment in at]}
    answer = client.post(f"{ENTRIES}/batch", json=body)
    assert answer.status_code == 201
    assert len(answer.json()["ids"]) == 3
    assert count(client, kind="wash", **{"from": (NOW - timedelta(hours=3)).isoformat()}) >= 3


def test_a_batch_may_bring_the_tank_that_it_washes_in(client: TestClient) -> None:
    tank = {
        "kind": "tank", "at": (NOW - timedelta(days=1)).isoformat(), "tank": "t7", "name": "Seven",
        "capacity_l": 10, "solvent": "isopropanol",
    }  # fmt: skip
    answer = client.post(f"{ENTRIES}/batch", json={"entries": [{**WASH, "tank": "t7"}, tank]})
    assert answer.status_code == 201


@pytest.mark.parametrize(
    "bad, field",
    [
        ({**WASH, "tank": "t9"}, "entries.1.tank"),
        ({**WASH, "parts": -1}, "entries.1.parts"),
        ({"kind": "wash", "tank": "t1", "resin": "slate"}, "entries.1.parts"),
        ({"kind": "reading", "tank": "t1", "method": "sensor"}, "entries.1.saturation_percent"),
        ({"kind": "reading", "tank": "t1", "method": "nose"}, "entries.1.method"),
        ({"kind": "sauna"}, "entries.1.kind"),
        (7, "entries.1"),
    ],
)
def test_one_bad_entry_keeps_a_batch_out_and_is_named(
    client: TestClient, bad: Any, field: str
) -> None:
    before = count(client)
    answer = client.post(f"{ENTRIES}/batch", json={"entries": [WASH, bad, WASH]})
    assert answer.status_code == 422
    assert field in errors_of(answer)
    assert count(client) == before


def test_a_skipped_entry_does_not_shift_the_place_of_a_bad_one(client: TestClient) -> None:
    entries = [{**WASH, "id": "w1"}, {**WASH, "tank": "t9"}]
    answer = client.post(f"{ENTRIES}/batch", json={"entries": entries})
    assert "entries.1.tank" in errors_of(answer)


@pytest.mark.parametrize("length", [0, 1001])
def test_a_batch_holds_1_to_1000_entries(client: TestClient, length: int) -> None:
    answer = client.post(f"{ENTRIES}/batch", json={"entries": [WASH] * length})
    assert "entries" in errors_of(answer)


def test_all_that_save_at_once_are_stored(client: TestClient) -> None:
    before = count(client)
    with ThreadPoolExecutor(12) as tablets:
        sent = [
            tablets.submit(client.post, ENTRIES, json={**WASH, "area_cm2": 500.0 + number})
            for number in range(24)
        ]
        answers = [future.result() for future in sent]
    assert [answer.status_code for answer in answers] == [201] * 24
    assert count(client) == before + 24


def test_a_double_tap_is_stored_once(client: TestClient) -> None:
    before = count(client)
    headers = {"Idempotency-Key": "double-tap"}
    with ThreadPoolExecutor(8) as taps:
        sent = [taps.submit(client.post, ENTRIES, json=WASH, headers=headers) for _ in range(8)]
        answers = [future.result() for future in sent]
    assert {answer.text for answer in answers} == {answers[0].text}
    assert (
        sorted("idempotent-replayed" in answer.headers for answer in answers)
        == [False] + [True] * 7
    )
    assert count(client) == before + 1
