"""Tanks, their course, the queue, resins and rejects over the API."""

from datetime import datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.domain.roomlog.lines import to_mapping
from app.services.door import bring_in
from tests.api.conftest import BASE
from tests.factories import NOW, ROOM, START, read_cycle
from tests.factories import tank as new_tank
from tests.steady import changed_bath


def add(client: TestClient, **entry: Any) -> None:
    answer = client.post(f"{BASE}/entries", json=entry)
    assert answer.status_code == 201, answer.text


def test_tanks_are_listed_with_their_estimates(client: TestClient) -> None:
    tanks = client.get(f"{BASE}/tanks").json()["tanks"]
    assert [tank["key"] for tank in tanks] == ["t1", "t2"]
    for tank in tanks:
        estimate = tank["estimate"]
        for basis in ("mass_percent", "volume_percent", "g_per_l"):
            assert estimate["p05"][basis] <= estimate["mean"][basis] <= estimate["p95"][basis]
        assert tank["limit"] == {
            "mass_percent": 10.0, "basis": "mass_percent", "entered": 10.0, "is_passed": False,
        }  # fmt: skip
    assert sorted(tank["place_in_queue"] for tank in tanks) == [1, 2]


def test_the_bases_agree_with_their_definition(client: TestClient) -> None:
    """g/L over mass percent is the density of the bath, between those of solvent and resin.

    Densities at 20 C: 2-propanol 0.785 g/mL and water 0.998 g/mL (handbook tables, from memory),
    the resin 1.12 g/mL as the room entered it.
    """
    estimate = client.get(f"{BASE}/tanks/t1").json()["estimate"]["mean"]
    density_g_ml = estimate["g_per_l"] / 1000 / (estimate["mass_percent"] / 100)
    assert 0.785 < density_g_ml < 1.12
    resin_g_ml = estimate["g_per_l"] / 1000 / (estimate["volume_percent"] / 100)
    assert resin_g_ml == pytest.approx(1.12, rel=0.01)


def test_one_tank_says_why_its_number_is_what_it_is(client: TestClient) -> None:
    tank = client.get(f"{BASE}/tanks/t1").json()
    ledger = {(line["kind"], line["resin"]): line for line in tank["ledger"]}
    washes = ledger["wash", "slate"]
    assert washes["count"] == tank["washes_since_fill"] == 40
    assert washes["resin_in_g"] > 0
    assert ("reading", None) in ledger
    resin_g = sum(
        line["resin_in_g"] - line["resin_out_g"] + line["correction_g"] for line in tank["ledger"]
    )
    assert resin_g == pytest.approx(tank["estimate"]["resin_g"], rel=0.02)
    assert tank["fan"][0]["p05"] <= tank["fan"][0]["p50"] <= tank["fan"][0]["p95"]


def test_what_a_reading_is_worth_is_handed_out(client: TestClient) -> None:
    for worth in client.get(f"{BASE}/tanks/t1").json()["worth_of_readings"]:
        assert worth["then_days"] > 0
        assert worth["is_worthwhile"] <= (worth["then_days"] < worth["now_days"])


def test_a_tank_out_of_use_has_no_place_in_the_queue(client: TestClient) -> None:
    add(client, kind="tank_change", tank="t2", is_retired=True)
    tank = client.get(f"{BASE}/tanks/t2").json()
    assert (tank["is_retired"], tank["place_in_queue"]) == (True, None)
    assert [swap["tank"] for swap in client.get(f"{BASE}/swaps").json()["swaps"]] == ["t1"]
    assert client.get(f"{BASE}/tanks/t1").json()["place_in_queue"] == 1


def test_the_queue_puts_a_started_swap_first(client: TestClient) -> None:
    add(client, kind="swap_started", tank="t2")
    swaps = client.get(f"{BASE}/swaps").json()["swaps"]
    assert (swaps[0]["tank"], swaps[0]["urgency"]) == ("t2", "swapping")
    add(client, kind="swap", tank="t2", filled_l=38)
    assert client.get(f"{BASE}/tanks/t2").json()["fill"] == 1


def test_limits_and_lives_are_changed_by_an_entry(client: TestClient) -> None:
    add(client, kind="tank_change", tank="t1", limit_g_l=30.0, life_washes=40)
    tank = client.get(f"{BASE}/tanks/t1").json()
    assert (tank["limit"]["basis"], tank["limit"]["entered"]) == ("g_per_l", 30.0)
    assert tank["limit"]["is_passed"]
    assert tank["life_washes"] == 40


def test_a_wash_raises_the_estimate(client: TestClient) -> None:
    before = client.get(f"{BASE}/tanks/t1").json()["estimate"]["mean"]["mass_percent"]
    add(client, kind="wash", tank="t1", resin="slate", area_cm2=4_000)
    after = client.get(f"{BASE}/tanks/t1").json()["estimate"]["mean"]["mass_percent"]
    assert after > before


def test_the_course_is_that_of_this_fill(client: TestClient) -> None:
    course = client.get(f"{BASE}/tanks/t1/course").json()
    assert datetime.fromisoformat(course["since"]) == START
    assert datetime.fromisoformat(course["until"]) == NOW
    times = [point["at"] for point in course["points"]]
    assert times == sorted(times)
    assert not course["is_thinned"]
    readings = [point for point in course["points"] if point["measured"] is not None]
    assert [point["measured"] for point in readings] == [5.0]


def test_a_window_of_the_course_is_read(client: TestClient) -> None:
    since, until = NOW - timedelta(days=12), NOW - timedelta(days=11)
    asked = {"from": since.isoformat(), "to": until.isoformat()}
    points = client.get(f"{BASE}/tanks/t1/course", params=asked).json()["points"]
    assert len(points) == 5
    assert all(since <= datetime.fromisoformat(point["at"]) <= until for point in points)


def test_a_thinned_course_keeps_its_extremes(client: TestClient) -> None:
    whole = client.get(f"{BASE}/tanks/t1/course").json()["points"]
    thinned = client.get(f"{BASE}/tanks/t1/course", params={"points": 12}).json()
    assert thinned["is_thinned"]
    assert len(thinned["points"]) <= 12
    for extreme in (min, max):
        value = extreme(point["mean"] for point in whole)
        assert value in [point["mean"] for point in thinned["points"]]


@pytest.mark.parametrize(
    "query", ["points=9", "points=10001", "points=ten", "from=now", "to=2026-03-02", "x=1"]
)
def test_a_course_that_cannot_be_is_refused(client: TestClient, query: str) -> None:
    assert client.get(f"{BASE}/tanks/t1/course?{query}").status_code == 422


def test_resins_come_with_what_was_learned_of_them(client: TestClient) -> None:
    resins = {item["key"]: item for item in client.get(f"{BASE}/resins").json()["resins"]}
    assert set(resins) == {"slate", "kiln"}
    learned = resins["slate"]["carry_in"]
    assert learned["washes"] == 40
    assert 0 < learned["low_g_cm2"] < learned["median_g_cm2"] < learned["high_g_cm2"]
    assert (resins["kiln"]["density_g_ml"], resins["kiln"]["is_filled"]) == (1.58, True)
    assert resins["kiln"]["carry_in"] is None or resins["kiln"]["carry_in"]["washes"] == 0


def test_rejects_are_counted_by_band_of_saturation(client: TestClient) -> None:
    rate = client.get(f"{BASE}/rejects").json()
    assert (rate["washes"], rate["rejects"]) == (40, 1)
    assert rate["verdict"] == "too_few"
    assert sum(band["rejects"] for band in rate["bands"]) == 1
    for band in rate["bands"]:
        assert 0 <= band["low_rate"] <= (band["rate"] or 0) <= band["high_rate"] <= 1


def test_rejects_look_back_as_far_as_asked(client: TestClient) -> None:
    recent = client.get(f"{BASE}/rejects", params={"days": 3}).json()
    assert (recent["washes"], recent["rejects"]) == (4, 1)


@pytest.mark.parametrize("query", ["days=0", "days=3651", "days=-7", "days=a", "weeks=3"])
def test_a_span_that_does_not_fit_is_refused(client: TestClient, query: str) -> None:
    assert client.get(f"{BASE}/rejects?{query}").status_code == 422


def test_readings_are_held_against_the_estimates_before_them(client: TestClient) -> None:
    record = client.get(f"{BASE}/forecasts").json()
    assert (record["fills"], record["said"]) == (0, [])
    assert record["levels"] == {"early": 0.1, "middle": 0.5, "late": 0.9}
    (miss,) = record["misses"]["sensor"]
    before = client.get(f"{BASE}/entries/m1").json()["effect"]["mean_before_percent"]
    assert miss == pytest.approx(5.0 - before, abs=0.01)


def test_what_was_said_of_a_bath_is_handed_out_with_what_came(
    client: TestClient, app: FastAPI
) -> None:
    bring_in(app.state.store, ROOM, [new_tank("t9"), *read_cycle("t9")], NOW)
    record = client.get(f"{BASE}/forecasts").json()
    assert record["fills"] == record["as_said"] + record["sooner"] + record["later"] == 1
    said = [one for one in record["said"] if one["tank"] == "t9"]
    assert [one["stage"] for one in said] == [0.5, 0.8]
    for one in said:
        # One in ten may lie past the limit already: such a forecast begins when it is said.
        assert one["said_at"] <= one["early_at"] < one["middle_at"] < one["late_at"]
        assert one["said_at"] < one["read_at"] < one["swapped_at"]
        is_inside = one["said_low_percent"] <= one["read_percent"] <= one["said_high_percent"]
        assert (one["outcome"] == "as_said") == is_inside


def test_a_tank_says_what_its_readings_mean_and_what_would_settle_it(client: TestClient) -> None:
    assert client.get(f"{BASE}/tanks/t2").json()["explanation"] is None
    change_unlogged(client)
    told = client.get(f"{BASE}/tanks/t2").json()["explanation"]
    assert told["name"] == "swap_missing"
    assert told["chance"] > 0.5
    assert len(told["readings"]) == 3
    listed = client.get(f"{BASE}/tanks").json()["tanks"]
    assert [tank["explanation"] for tank in listed] == [None, told]
    act = told["act"]
    assert (act["kind"], act["corrects"]) == ("swap", None)
    add(client, kind=act["kind"], at=act["at"], **act["fields"])
    tank = client.get(f"{BASE}/tanks/t2").json()
    assert tank["explanation"] is None
    assert tank["estimate"]["mean"]["mass_percent"] == pytest.approx(0.5, abs=0.3)


def test_an_explanation_is_dismissed_by_an_entry(client: TestClient) -> None:
    change_unlogged(client)
    add(client, kind="explanation_dismissed", tank="t2", explanation="swap_missing", by="Kim")
    tank = client.get(f"{BASE}/tanks/t2").json()
    assert tank["explanation"] is None
    assert "swap_missing" not in tank["flags"]


def test_what_is_not_said_is_not_dismissed(client: TestClient) -> None:
    entry = {"kind": "explanation_dismissed", "tank": "t2", "explanation": "swap_missing"}
    answer = client.post(f"{BASE}/entries", json=entry)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == "explanation"


def change_unlogged(client: TestClient) -> None:
    """A bath of t2 that was changed without a word, and read three times since."""
    entries = [to_mapping(entry) for entry in changed_bath("t2")]
    answer = client.post(f"{BASE}/entries/batch", json={"entries": entries})
    assert answer.status_code == 201, answer.text


def test_the_instruments_say_how_they_read(client: TestClient) -> None:
    [sensor] = client.get(f"{BASE}/instruments").json()["instruments"]
    assert (sensor["method"], sensor["tank"], sensor["readings"]) == ("sensor", "t1", 1)
    assert sensor["bias"]["sd_percent"] > 0
    assert sensor["scatter_seen_percent"] is None
    assert sensor["sentence"].endswith(".")
