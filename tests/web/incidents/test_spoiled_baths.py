"""A bath that a wrong solvent went into: it goes into a drum for unknown waste, and nowhere else.

Wastes that may react together do not go into one container (40 CFR 265.177), and waste is
determined before it is mixed (40 CFR 262.11); both from memory.
"""

import re
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.incidents import Incident, TankHeld, TankReleased
from app.domain.roomlog.kinds.planning import SwapPinned
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.contracts.harm_room import under_way
from tests.factories import NOW, ROOM, START, tank

AT, API = f"/rooms/{ROOM}", f"/api/v1/rooms/{ROOM}"
ENTRIES = f"{API}/entries"
SAID = "A wrong solvent went into this bath"
AN_HOUR_AGO = NOW - timedelta(hours=1)


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    """Acetone went into t1, which a lead has released since."""
    here: dict[str, Any] = {"at": START, "capacity_l": 200.0, "area": "wash_station"}
    record(store, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        Drum(drum="ipa", name="W-1", stream="isopropanol_resin", **here),
        Drum(drum="apart", name="W-2", stream="unknown", **here),
        Drum(drum="tried", name="W-3", stream="unknown", volume_l=5.0, **here),
        Incident(at=AN_HOUR_AGO, incident="i1", problem="wrong_solvent", tank="t1",
                 solvent="acetone", volume_l=1.0),
        TankHeld(at=AN_HOUR_AGO, tank="t1", reason="Acetone", cause="incident", incident="i1"),
        TankReleased(at=NOW - timedelta(minutes=30), tank="t1", lead="Curlew", reason="Looked at"),
    ], NOW)  # fmt: skip
    return client


def pour(room: TestClient, drum: str, tank: str = "t1", litres: float = 5.0) -> Any:
    said = {"kind": "pour", "drum": drum, "tank": tank, "volume_l": litres, "by": "Wren"}
    return room.post(ENTRIES, json=said)


def by_form(room: TestClient, drum: str, tank: str = "t1") -> Any:
    said = {"volume_l": "5", "tank": tank, "by": "Wren", "submission": f"{drum}-{tank}"}
    address = f"{AT}/waste/drums/{drum}/pour"
    return room.post(address, data=said, follow_redirects=False)


@pytest.mark.parametrize("drum", ["ipa", "tried"])
def test_it_goes_into_no_drum_with_other_waste_by_any_door(room: TestClient, drum: str) -> None:
    answer = pour(room, drum)
    assert answer.status_code == 422, answer.text
    said = " ".join(one["message"] for one in answer.json()["errors"])
    assert SAID in said
    assert "Set up an empty drum for “Unknown or mixed” waste" in said
    form = by_form(room, drum)
    assert form.status_code == 422
    assert SAID in form.text


@pytest.mark.parametrize("poured, fits", [("acetone", True), ("propylene_carbonate", False)])
def test_what_a_slow_bath_has_a_stream_for_with_it_is_not_unknown(
    room: TestClient, store: Store, poured: str, fits: bool
) -> None:
    """A flammable solvent in a slow one has a drum of its own, which the matrix asks for."""
    record(store, ROOM, [
        tank("slow", solvent="tripropylene_glycol_methyl_ether"),
        Drum(at=START, drum="mixed", name="W-4", stream="glycol_ether_with_alcohol",
             capacity_l=200.0, area="wash_station"),
        Incident(at=AN_HOUR_AGO, incident="i2", problem="wrong_solvent", tank="slow",
                 solvent=poured, volume_l=1.0),
    ], NOW)  # fmt: skip
    assert (SAID in pour(room, "mixed", "slow").text) is not fits


def test_it_goes_into_an_empty_drum_for_unknown_waste_and_its_rinse_too(room: TestClient) -> None:
    assert by_form(room, "apart").status_code == 303
    assert pour(room, "apart").status_code == 201
    assert pour(room, "apart", "t2").status_code == 422  # a known bath has no place there


def test_a_form_offers_the_tank_at_the_drum_set_apart_or_for_what_was_before(
    room: TestClient,
) -> None:
    option = '<option value="t1"'
    assert f"{option}>1 T1: only what was" in room.get(f"{AT}/waste/drums/ipa/pour").text
    assert '<option value="t2"' in room.get(f"{AT}/waste/drums/ipa/pour").text
    assert option in room.get(f"{AT}/waste/drums/apart/pour").text
    assert option not in room.get(f"{AT}/waste/drums/tried/pour").text
    assert "/waste/drums/apart/pour" in room.get(f"{AT}/waste/drums/apart").text


def test_it_ends_with_the_bath(room: TestClient, store: Store) -> None:
    record(store, ROOM, [Swap(at=NOW, tank="t1", drained_l=38.0, filled_l=38.0)], NOW)
    assert pour(room, "ipa").status_code == 201
    assert pour(room, "apart").status_code == 422


def test_it_is_not_entered_as_swapped_at_once_and_a_wash_in_it_is_asked_about(
    room: TestClient,
) -> None:
    swap = {"kind": "swap", "tank": "t1", "drained_l": 38.0, "filled_l": 38.0}
    refused = room.post(ENTRIES, json=swap)
    assert refused.status_code == 422, refused.text
    assert SAID in refused.text
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3}
    asked = room.post(ENTRIES, json=wash)
    assert asked.status_code == 409, asked.text
    assert "bath_spoiled" in [one["name"] for one in asked.json()["questions"]]


def test_a_swap_lists_the_drum_set_apart_and_says_what_to_do_without_one(
    room: TestClient, store: Store
) -> None:
    record(store, ROOM, under_way("t1", "drum", "isopropanol"), NOW)
    page = f"{AT}/tanks/t1/swap"
    text = room.get(page).text
    assert 'value="apart"' in text
    assert 'value="ipa"' not in text
    assert 'value="tried"' not in text
    closed = {"kind": "drum_closed", "drum": "apart", "is_cool": True, "by": "Wren"}
    assert room.post(ENTRIES, json=closed).status_code == 201
    text = room.get(page).text
    assert "for “Unknown or mixed” waste, empty, and have it tested" in text


@pytest.mark.parametrize("trouble", ["held", "spoiled"])
def test_the_bath_of_a_tank_that_is_held_or_spoiled_is_not_offered_for_another(
    client: TestClient, store: Store, trouble: str
) -> None:
    record(store, ROOM, [tank("clean"), tank("dirty", pair="clean")], NOW)
    assert 'name="from_tank" value="clean"' in client.get(f"{AT}/tanks/dirty/swap").text
    found = {
        "held": TankHeld(at=AN_HOUR_AGO, tank="clean", reason="It drips", cause="lead"),
        "spoiled": Incident(at=AN_HOUR_AGO, incident="i2", problem="wrong_solvent", tank="clean",
                            solvent="acetone"),
    }  # fmt: skip
    record(store, ROOM, [found[trouble]], NOW)
    page = client.get(f"{AT}/tanks/dirty/swap").text
    assert 'name="from_tank"' not in page


def test_what_a_swap_needs_names_the_drum_set_apart_and_not_the_usual_one(
    room: TestClient, store: Store
) -> None:
    pinned = SwapPinned(at=NOW, tank="t1", planned_on=NOW.date() + timedelta(days=1))  # fmt: skip
    record(store, ROOM, [pinned], NOW)
    text = room.get(f"{AT}/tanks/t1/swap").text
    assert "W-2" in text, re.sub(r"(<[^>]*>|\s)+", " ", text)
    assert "W-1" not in text
    record(store, ROOM, [Swap(at=NOW, tank="t1", drained_l=38.0, filled_l=38.0)], NOW)
    assert "W-2" not in room.get(f"{AT}/tanks/t1/swap").text


def test_what_was_poured_before_anybody_found_it_is_stored_as_it_happened(room: TestClient) -> None:
    """Nothing that happened is lost; that the drum may hold it too is said with the question."""
    early = {"kind": "pour", "drum": "ipa", "tank": "t1", "volume_l": 4.0, "by": "Wren",
             "at": (AN_HOUR_AGO - timedelta(hours=1)).isoformat()}  # fmt: skip
    asked = room.post(ENTRIES, json=early)
    assert asked.status_code == 409, asked.text
    (question,) = [q for q in asked.json()["questions"] if q["name"] == "done_before_fault"]
    assert "A wrong solvent was found in this bath at" in question["message"]
    assert "Did this pour happen before that, at" in question["message"]
    assert "put its drum in quarantine and have it tested" in str(question)
    nobody = room.post(ENTRIES, json={**early, "by": ""}, params={"confirm": "done_before_fault"})
    assert nobody.status_code == 422, nobody.text
    names = [q["name"] for q in asked.json()["questions"]]
    assert room.post(ENTRIES, json=early, params={"confirm": names}).status_code == 201
    after = {**early, "at": (AN_HOUR_AGO + timedelta(minutes=5)).isoformat()}
    assert SAID in room.post(ENTRIES, json=after).text


def test_a_late_pour_from_before_goes_in_by_the_form_which_names_the_time(room: TestClient) -> None:
    """Only what went in before the report; the list of tanks says so beside the tank."""
    form = room.get(f"{AT}/waste/drums/ipa/pour").text
    assert "T1: only what was poured before the wrong solvent," in form
    assert "only what was poured before" not in room.get(f"{AT}/waste/drums/apart/pour").text
    early = (AN_HOUR_AGO - timedelta(hours=1)).strftime("%Y-%m-%dT%H:%M")
    said = {"volume_l": "4", "tank": "t1", "by": "Wren", "submission": "late", "at": early}
    address = f"{AT}/waste/drums/ipa/pour"
    asked = room.post(address, data=said, follow_redirects=False)
    assert asked.status_code == 422
    assert "Did this pour happen before that, at" in asked.text
    found = re.search(r'name="confirmed" value="(?!change)([^"]+)"', asked.text)
    assert found, asked.text
    sent = {**said, "confirmed": found[1]}
    assert room.post(address, data=sent, follow_redirects=False).status_code == 303
    assert SAID in by_form(room, "ipa").text


def test_the_start_of_a_swap_says_first_that_the_tank_is_held(
    room: TestClient, store: Store
) -> None:
    """A tank that burns or leaks is emptied by a swap, so the page has to say what is wrong."""
    assert "once it is safe to go near" not in room.get(f"{AT}/tanks/t2/swap").text
    record(store, ROOM, [Incident(at=NOW, incident="i2", problem="fire", tank="t2")], NOW)
    record(store, ROOM, [TankHeld(at=NOW, tank="t2", reason="Fire or smoke", cause="incident",
                                  incident="i2")], NOW)  # fmt: skip
    page = room.get(f"{AT}/tanks/t2/swap").text
    assert page.index("Held: Fire or smoke") < page.index("Start the swap")
    assert "Start only once it is safe to go near." in page
