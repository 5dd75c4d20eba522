"""Entries over the API: adding one or many, reading, correcting, withdrawing."""

from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from tests.api.conftest import BASE, Clock
from tests.factories import NOW, START

ENTRIES = f"{BASE}/entries"
WASH: dict[str, Any] = {"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 900.0}


def count(client: TestClient, **shown: Any) -> int:
    return len(client.get(ENTRIES, params={"limit": 200, **shown}).json()["entries"])


def errors_of(answer: Any) -> dict[str, str]:
    return {item["field"]: item["message"] for item in answer.json()["errors"]}


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
        ((START - timedelta(days=1)).isoformat(), "came into use later"),
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
    clock.advance(seconds=20)
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


def test_the_log_is_read_newest_first(client: TestClient) -> None:
    entries = client.get(ENTRIES, params={"limit": 200}).json()["entries"]
    times = [item["entry"]["at"] for item in entries]
    assert times == sorted(times, reverse=True)
    assert len(entries) == 46


def test_pages_meet_without_gap_or_overlap(client: TestClient) -> None:
    whole = client.get(ENTRIES, params={"limit": 200}).json()["entries"]
    url, found, pages = f"{ENTRIES}?limit=7", [], 0
    while url:
        answer = client.get(url)
        found += answer.json()["entries"]
        pages += 1
        url = answer.links.get("next", {}).get("url", "")
    assert found == whole
    assert pages == 7
    assert answer.json()["older"] is None


def test_a_page_leads_back_to_the_one_before(client: TestClient) -> None:
    first = client.get(ENTRIES, params={"limit": 5}).json()
    second = client.get(ENTRIES, params={"limit": 5, "cursor": first["older"]}).json()
    back = client.get(ENTRIES, params={"limit": 5, "cursor": second["newer"]}).json()
    assert back["entries"] == first["entries"]


def test_the_next_page_keeps_the_filters(client: TestClient) -> None:
    link = client.get(ENTRIES, params={"limit": 3, "kind": "wash", "tank": "t1"}).links["next"]
    entries = client.get(link["url"]).json()["entries"]
    assert [item["entry"]["kind"] for item in entries] == ["wash"] * 3


@pytest.mark.parametrize(
    "shown, expected",
    [
        ({"kind": "reading"}, 1),
        ({"tank": "t2"}, 1),
        ({"resin": "kiln"}, 1),
        ({"kind": "wash", "from": (NOW - timedelta(days=3)).isoformat()}, 4),
        ({"kind": "wash", "to": (NOW - timedelta(days=12)).isoformat()}, 0),
        ({"kind": "wash", "from": (NOW - timedelta(days=12)).isoformat(),
          "to": (NOW - timedelta(days=11)).isoformat()}, 4),
    ],
)  # fmt: skip
def test_the_log_is_filtered(client: TestClient, shown: dict[str, str], expected: int) -> None:
    assert count(client, **shown) == expected


@pytest.mark.parametrize(
    "query",
    [
        "limit=0", "limit=201", "limit=-1", "limit=1e9", "limit=1_0", "limit=%D9%A1", "limit=+5",
        "limit=9223372036854775808", "limit=-9223372036854775809", "cursor=b1", "cursor=%00",
        "cursor=b99999999999999999999.1", "kind=sauna", "tank=%00", "tank=a%20b", "from=yesterday",
        "from=2026-03-02", "colour=red", "voided=maybe",
    ],
)  # fmt: skip
def test_a_query_that_does_not_fit_is_refused(client: TestClient, query: str) -> None:
    answer = client.get(f"{ENTRIES}?{query}")
    assert answer.status_code == 422
    assert query.split("=", maxsplit=1)[0] in errors_of(answer)


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
    clock.advance(seconds=3)
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
    clock.advance(minutes=1)
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


def test_what_is_not_there_is_not_found(client: TestClient) -> None:
    for path in (f"{ENTRIES}/nothing", "/api/v1/rooms/nowhere/entries", f"{ENTRIES}/%00"):
        assert client.get(path).status_code == 404
    assert client.post(f"{ENTRIES}/nothing/withdrawal", json={}).status_code == 404
    assert client.post(f"{ENTRIES}/nothing/correction", json=WASH).status_code == 404


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
