"""Correcting and withdrawing entries over the API."""

from datetime import timedelta

import pytest
from starlette.testclient import TestClient

from tests.api.asking import ENTRIES, WASH, count, errors_of
from tests.api.conftest import BASE
from tests.clocks import Clock
from tests.factories import NOW


def test_an_entry_is_corrected_and_its_history_kept(client: TestClient) -> None:
    body = {**WASH, "area_cm2": 300.0, "note": "one rack only"}
    answer = client.post(f"{ENTRIES}/w5/correction", json=body)
    assert answer.status_code == 201
    (new_id,) = answer.json()["ids"]
    old, new = client.get(f"{ENTRIES}/w5").json(), client.get(f"{ENTRIES}/{new_id}").json()
    assert old["voided_by"] == new_id
    assert old["effect"] is None
    assert new["entry"]["corrects"] == "w5"
    assert new["entry"]["at"] == old["entry"]["at"], "left out, so that of the original stands"
    assert [item["entry"]["id"] for item in new["history"]] == ["w5", new_id]
    assert old["history"] == new["history"]
    assert count(client, voided="false") == count(client) - 1


def test_a_correction_sent_again_under_its_key_counts_once(
    client: TestClient, clock: Clock
) -> None:
    key = {"Idempotency-Key": "fix"}
    first = client.post(f"{ENTRIES}/w5/correction", json=WASH, headers=key)
    clock.wait(seconds=3)
    again = client.post(f"{ENTRIES}/w5/correction", json=WASH, headers=key)
    assert (again.status_code, again.json()) == (201, first.json())


def test_a_second_correction_of_the_same_entry_conflicts(client: TestClient) -> None:
    assert client.post(f"{ENTRIES}/w5/correction", json=WASH).status_code == 201
    answer = client.post(f"{ENTRIES}/w5/correction", json=WASH)
    assert (answer.status_code, answer.json()["title"]) == (409, "Conflict")


def test_an_entry_does_not_become_another_kind(client: TestClient) -> None:
    body = {"kind": "top_up", "tank": "t1", "volume_l": 1}
    answer = client.post(f"{ENTRIES}/w5/correction", json=body)
    assert "kind" in errors_of(answer)


@pytest.mark.parametrize("entry_id", ["tank-t1", "r1"])
def test_tanks_and_resins_are_not_corrected(client: TestClient, entry_id: str) -> None:
    assert client.post(f"{ENTRIES}/{entry_id}/correction", json=WASH).status_code == 409


def test_a_wash_logged_at_the_wrong_tank_moves_to_the_right_one(client: TestClient) -> None:
    """Also where nothing of the first tank lies behind the place from which all is replayed."""
    washes = [{**WASH, "at": (NOW - timedelta(minutes=30 + n)).isoformat()} for n in range(150)]
    client.post(f"{ENTRIES}/batch", json={"entries": washes})
    (wrong,) = client.post(ENTRIES, json={**WASH, "tank": "t2"}).json()["ids"]
    before = client.get(f"{BASE}/tanks/t2").json()
    assert client.post(f"{ENTRIES}/{wrong}/correction", json=WASH).status_code == 201
    after = client.get(f"{BASE}/tanks/t2").json()
    assert (before["washes_since_fill"], after["washes_since_fill"]) == (1, 0)
    assert after["estimate"]["resin_g"] < before["estimate"]["resin_g"]
    assert client.get(f"{BASE}/tanks/t1").json()["washes_since_fill"] == 191


def test_an_entry_is_withdrawn(client: TestClient, clock: Clock) -> None:
    key = {"Idempotency-Key": "undo"}
    body = {"by": "Kim", "note": "entered twice"}
    answer = client.post(f"{ENTRIES}/w7/withdrawal", json=body, headers=key)
    assert answer.status_code == 201
    clock.wait(minutes=1)
    again = client.post(f"{ENTRIES}/w7/withdrawal", json=body, headers=key)
    assert (again.status_code, again.json()) == (201, answer.json())
    history = client.get(f"{ENTRIES}/w7").json()["history"]
    assert [item["entry"]["kind"] for item in history] == ["wash", "withdrawal"]
    assert history[1]["entry"]["note"] == "entered twice"
    assert client.post(f"{ENTRIES}/w7/withdrawal", json={}).status_code == 409


def test_a_withdrawn_resin_is_gone_and_one_in_use_stays(client: TestClient) -> None:
    assert client.post(f"{ENTRIES}/r2/withdrawal", json={}).status_code == 201
    assert [item["key"] for item in client.get(f"{BASE}/resins").json()["resins"]] == ["slate"]
    assert client.post(f"{ENTRIES}/r1/withdrawal", json={}).status_code == 409
