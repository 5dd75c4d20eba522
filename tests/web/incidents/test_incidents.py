"""When something goes wrong, on its pages: one report does all that follows, a lead settles it."""

import re
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.incidents.guides import GUIDES
from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.site import CrewMember, SiteRules
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum, PickupBooked, Pour
from app.services.door import bring_in as record
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing, things
from tests.answers import sure
from tests.factories import NOW, ROOM, START

AT = f"/rooms/{ROOM}"
WASH = {"resin": "slate", "parts": "12", "by": "Wren"}


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    """With a lead, drums, a pickup, solvent on the shelf and an emergency number."""
    drum: dict[str, Any] = {"capacity_l": 200.0, "area": "central"}
    record(store, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        CrewMember(at=START, crew="crew", name="Wren", role="technician"),
        SiteRules(at=START, site="site", emergency_number="112"),
        Drum(at=START, drum="d1", name="W-1", stream="isopropanol_resin", **drum),
        Drum(at=START, drum="d2", name="S-1", stream="solids_and_sludge", **drum),
        Pour(at=START, drum="d1", tank="t1", volume_l=40.0),
        PickupBooked(at=START, pickup="p1", drums=["d1"], pickup_on=NOW.date(), hauler="Carrier"),
        Item(at=START, item="ipa", name="Alcohol 99", category="solvent", unit="L",
             solvent="isopropanol"),
        StockReceived(at=START, item="ipa", quantity=20.0, lot="A7"),
    ], NOW)  # fmt: skip
    return client


def state(store: Store, kind: str, key: str) -> Any:
    with Session(store.reader) as session:
        return thing(session, find_room(session, ROOM).id or 0, kind, key)


def reported(store: Store) -> Any:
    with Session(store.reader) as session:
        found = things(session, find_room(session, ROOM).id or 0, "incident")
    (only,) = found.values()
    return only


def report(room: TestClient, what: str, **fields: str) -> Any:
    return room.post(f"{AT}/problem/{what}", data={"by": "Wren", "submission": what, **fields})


def test_a_problem_is_one_touch_away_from_every_page(room: TestClient) -> None:
    for path in ("", "/tanks/t1", "/log", "/waste", "/shelf", "/duties"):
        assert f'href="{AT}/problem' in room.get(AT + path).text, path
    assert f'href="{AT}/problem?tank=t1"' in room.get(f"{AT}/tanks/t1").text


@pytest.mark.parametrize(
    "typed, dialled",
    [
        ("112", ["112"]),
        ("+44 (0)1632 960 999 ext 5", ["+441632960999"]),
        ("112 or 9-911", ["112", "9911"]),
        ("Call the guard", []),
    ],
)
def test_only_numbers_are_dialled_each_for_itself(
    room: TestClient, typed: str, dialled: list[str]
) -> None:
    word = {"kind": "site_rules", "site": "site", "emergency_number": typed, "by": "Curlew"}
    assert room.post(f"/api/v1/rooms/{ROOM}/entries", json=word).status_code == 201
    page = room.get(f"{AT}/problem/fire").text
    assert re.findall(r'href="tel:([^"]*)"', page) == dialled
    shown = re.search(r'<p class="emergency">(.*?)</p>', page)
    assert shown is not None
    assert re.sub("<[^>]+>", "", shown[1]) == f"Emergency number: {typed}"


def test_the_choices_are_five_and_the_emergency_number_stands_above(room: TestClient) -> None:
    page = room.get(f"{AT}/problem").text
    for guide in GUIDES.values():
        assert guide.title in page
    assert page.index("112") < page.index("Spill")


@pytest.mark.parametrize("what", GUIDES)
def test_cautions_come_before_the_record(room: TestClient, what: str) -> None:
    page = room.get(f"{AT}/problem/{what}").text
    assert page.index("112") < page.index('class="cautions"') < page.index("Then record it")
    for caution in GUIDES[what].cautions:
        assert page.count(f">{caution.word}<") or caution.word in page


def test_without_a_number_the_page_says_where_to_enter_one(client: TestClient) -> None:
    assert "No emergency number has been entered" in client.get(f"{AT}/problem/exposure").text


def test_a_leak_holds_the_tank_quarantines_the_drum_and_counts_the_waste(
    room: TestClient, store: Store
) -> None:
    page = report(
        room, "leak", tank="t1", drum="d1", source="bath", volume_l="2.5", waste_drum="d2",
        wasted_l="2", people="Dunlin", done="Pump stopped",
    )  # fmt: skip
    assert page.status_code == 200
    assert "Saved. Next: what is left to do." in page.text
    incident = reported(store)
    assert (incident.problem, incident.volume_l, incident.people) == ("leak", 2.5, "Dunlin")
    assert (incident.held, incident.quarantined) == (("t1",), ("d1",))
    hold = state(store, "hold", "t1")
    assert (hold.is_held, hold.incident) == (True, incident.key)
    assert hold.reason == "Leak. Pump stopped"
    assert state(store, "drum", "d1").is_quarantined
    assert state(store, "drum", "d2").volume_l == pytest.approx(2.0)
    removals = room.get(f"/api/v1{AT}/entries?kind=removal").json()["entries"]
    assert [each["entry"]["volume_l"] for each in removals] == [2.5]


def test_sent_twice_it_is_one_incident(room: TestClient, store: Store) -> None:
    for _ in range(2):
        assert report(room, "spill", tank="t1", volume_l="1").status_code == 200
    assert reported(store).volume_l == 1.0


def test_what_does_not_fit_is_said_and_nothing_is_stored(room: TestClient, store: Store) -> None:
    answer = report(room, "spill", tank="t1", volume_l="-1", waste_drum="d2", people="Dunlin")
    assert answer.status_code == 422
    assert "Volume must be between" in answer.text
    assert 'value="Dunlin"' in answer.text
    answer = report(room, "spill", tank="t1", volume_l="1", waste_drum="d2")
    assert "Enter how much went into the drum." in answer.text
    answer = report(room, "spill", waste_drum="d2", wasted_l="500")
    assert answer.status_code == 422
    answer = report(room, "leak", source="bath", tank="t1", drum="nowhere")
    assert "There is no drum" in answer.text
    assert "Enter how much left the bath." in answer.text
    answer = report(room, "wrong_solvent", volume_l="1")
    assert "Choose the tank or drum it was poured into." in answer.text
    with Session(store.reader) as session:
        assert not things(session, find_room(session, ROOM).id or 0, "incident")
    assert state(store, "hold", "t1") is None
    assert room.get(f"{AT}/problem/earthquake").status_code == 404


def test_waste_of_another_stream_is_refused_in_the_report_as_well(room: TestClient) -> None:
    answer = report(room, "spill", tank="t1", volume_l="1", waste_drum="d1", wasted_l="400")
    assert answer.status_code == 422
    assert answer.text.count('class="field-error"') >= 1


def test_a_spilled_container_leaves_the_shelf(room: TestClient, store: Store) -> None:
    assert report(room, "spill", source="shelf", item="ipa", volume_l="5").status_code == 200
    assert state(store, "item", "ipa").on_hand == pytest.approx(15.0)
    answer = report(room, "spill", submission="2", source="shelf", item="ipa", volume_l="50")
    assert answer.status_code == 422
    assert state(store, "item", "ipa").on_hand == pytest.approx(15.0)


def test_a_cancelled_pickup_is_cancelled_in_the_books(room: TestClient, store: Store) -> None:
    assert "Carrier" in room.get(f"{AT}/problem/pickup_cancelled").text
    assert report(room, "pickup_cancelled", pickup="p1", done="Truck broke down").status_code == 200
    pickup = state(store, "pickup", "p1")
    assert (pickup.stage, pickup.reason) == ("cancelled", "Truck broke down")
    again = report(room, "pickup_cancelled", submission="2", pickup="p1")
    assert "no longer booked" in again.text


def test_a_held_tank_takes_no_wash_by_hand_or_program_until_a_lead_releases_it(
    room: TestClient, store: Store
) -> None:
    report(room, "wrong_solvent", tank="t1", solvent="acetone", volume_l="1")
    refused = room.post(f"{AT}/tanks/t1/log/wash", data=WASH)
    assert refused.status_code == 422
    assert "This tank is held: Wrong solvent poured." in refused.text
    assert "Use another tank." in refused.text
    entry = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3}
    assert room.post(f"/api/v1{AT}/entries", json=entry).status_code == 422
    assert room.post(f"{AT}/tanks/t2/log/wash", data=WASH).status_code == 200
    by_nobody = {"lead": "Wren", "reason": "Looks fine"}
    answer = room.post(f"{AT}/tanks/t1/hold/release", data=by_nobody)
    assert answer.status_code == 422
    assert "Only a lead can do this: Curlew." in answer.text
    assert 'value="Looks fine"' in answer.text
    answer = room.post(f"{AT}/tanks/t1/hold/release", data={**by_nobody, "lead": "Curlew"})
    assert answer.status_code == 200
    assert not state(store, "hold", "t1").is_held
    assert (
        "A wrong solvent went into this bath"
        in room.post(f"{AT}/tanks/t1/log/wash", data=WASH).text
    )  # a release ends the hold, and not what is in the bath
    assert sure(room, f"{AT}/tanks/t1/log/wash", WASH).status_code == 200
    late = room.post(f"{AT}/tanks/t1/hold/release", data={"lead": "Curlew", "reason": "Again"})
    assert late.status_code == 409


def test_a_hold_without_a_reason_says_what_to_do(room: TestClient) -> None:
    bare = room.post(f"/rooms/{ROOM}/tanks/t1/hold", data={"by": "Wren"})
    assert bare.status_code == 422
    assert "Choose what is wrong, or enter it." in bare.text
    assert "is missing" not in bare.text


def test_a_wash_from_before_the_hold_may_still_be_entered(room: TestClient) -> None:
    report(room, "leak", tank="t1")
    earlier = {**WASH, "at": "2026-03-02T08:00"}
    asked = room.post(f"{AT}/tanks/t1/log/wash", data=earlier)
    assert asked.status_code == 422
    assert "Yes, it was before that: store it" in asked.text
    assert sure(room, f"{AT}/tanks/t1/log/wash", earlier).status_code == 200


def test_a_held_tank_says_so_on_the_room_page_and_its_own(room: TestClient) -> None:
    room.post(f"{AT}/tanks/t2/hold", data={"reason": "Smells odd", "by": "Wren"})
    board = room.get(AT).text
    assert "1 held" in board
    assert "need-row tank-held" in board
    assert "Smells odd. Do not wash here." in board
    page = room.get(f"{AT}/tanks/t2").text
    assert "Do not wash here." in page
    assert "Wash as last" not in page
    assert room.post(f"{AT}/tanks/t2/hold", data={"reason": " "}).status_code == 422


def test_an_incident_is_followed_up_and_closed_by_a_lead(room: TestClient, store: Store) -> None:
    report(room, "spill", tank="t1", volume_l="1")
    key = reported(store).key
    at = f"{AT}/incidents/{key}"
    closing = {"lead": "Curlew", "reason": "Funnel bought"}
    early = room.post(f"{at}/close", data=closing)
    assert early.status_code == 422
    assert "4 follow-ups are open" in early.text
    steps = GUIDES["spill"].required
    for step in steps[:-1]:
        assert room.post(f"{at}/step", data={"step": step, "by": "Wren"}).status_code == 200
    unsaid = room.post(f"{at}/step", data={"step": steps[-1], "not_needed": "on"})
    assert "Say why this is not needed." in unsaid.text
    said = {"step": steps[-1], "not_needed": "on", "note": "Cap was off"}
    assert "Cap was off" in room.post(f"{at}/step", data=said).text
    assert room.post(f"{at}/close", data={**closing, "lead": "Wren"}).status_code == 422
    assert "Closed" in room.post(f"{at}/close", data=closing).text
    assert reported(store).is_closed
    assert room.post(f"{at}/step", data=said).status_code == 409
    assert room.post(f"{at}/close", data=closing).status_code == 409
    room.post(f"{at}/reopen", data={"reason": "Happened again"})
    assert not reported(store).is_closed
    assert "1 left to do" not in room.get(f"{AT}/incidents").text


def test_a_wrong_tick_is_undone_not_erased(room: TestClient, store: Store) -> None:
    report(room, "spill", volume_l="1")
    incident = reported(store)
    at = f"{AT}/incidents/{incident.key}"
    room.post(f"{at}/step", data={"step": "kit", "by": "Wren"})
    (done,) = reported(store).steps
    room.post(f"{at}/undo", data={"entry": done.entry})
    assert reported(store).steps == ()
    assert "voided" in room.get(at).text
    assert room.post(f"{at}/undo", data={"entry": done.entry}).status_code == 404


def test_an_empty_list_says_so(client: TestClient) -> None:
    page = client.get(f"{AT}/incidents").text
    assert "Nothing is open." in page
    assert client.get(f"{AT}/incidents/none").status_code == 404


def test_what_an_incident_took_out_of_a_bath_is_called_a_spill_loss(
    room: TestClient, store: Store
) -> None:
    report(room, "spill", tank="t1", source="bath", volume_l="0.5")
    page = room.get(f"{AT}/tanks/t1").text
    assert "Spill loss" in page
    assert "Removal 0.5" not in page
    room.post(f"{AT}/tanks/t1/log/removal", data={"volume_l": "0.3", "by": "Wren"})
    lines = [line for line in room.get(f"{AT}/log").text.split("<li") if "0.3" in line]
    assert any("Removal" in line for line in lines)
    assert not any("Spill loss" in line for line in lines)
    key = reported(store).key
    assert "Spill loss" in room.get(f"{AT}/incidents/{key}").text


NOT_KNOWN = "A wrong solvent was poured in"


def test_a_bath_with_a_wrong_solvent_says_that_nobody_knows_what_it_holds(
    room: TestClient,
) -> None:
    assert NOT_KNOWN not in room.get(f"{AT}/tanks/t1").text
    report(room, "wrong_solvent", tank="t1", keeps_tank="on")
    first, then = room.get(f"{AT}/tanks/t1").text.split("Wash anyway")
    assert 'stand-main" href' in first  # the first button is the swap, not a wash
    assert "Wash as last" not in then
    page = room.get(f"{AT}/tanks/t1").text
    assert NOT_KNOWN in page
    assert '<p class="figure">Not known' in page
    assert "saturation not known" in room.get(AT).text
    assert NOT_KNOWN in room.get(AT).text
    assert NOT_KNOWN not in room.get(f"{AT}/tanks/t2").text
    for tank in room.get(f"/api/v1/rooms/{ROOM}/tanks").json()["tanks"]:
        assert ("wrong_solvent" in tank["flags"]) == (tank["key"] == "t1")
    assert "Do not rely on any day; swap the bath" in room.get(f"{AT}/plan/t1").text


def test_a_reading_of_a_bath_with_a_wrong_solvent_is_asked_about(room: TestClient) -> None:
    report(room, "wrong_solvent", tank="t1", keeps_tank="on")
    reading = {"method": "hydrometer", "density_g_ml": "0.800", "temperature_c": "20", "by": "W"}
    answer = room.post(f"{AT}/tanks/t1/log/reading", data=reading)
    assert answer.status_code == 422
    assert "Until the bath is swapped, this reading says nothing about its resin" in answer.text
    other = room.post(f"{AT}/tanks/t2/log/reading", data=reading)
    assert "says nothing about its resin" not in other.text


def test_the_doubt_outlives_the_incident_and_ends_with_the_bath(
    room: TestClient, store: Store
) -> None:
    at = (NOW - timedelta(hours=3)).strftime("%Y-%m-%dT%H:%M")
    report(room, "wrong_solvent", tank="t1", at=at, keeps_tank="on")
    record(store, ROOM, [
        Swap(at=NOW - timedelta(hours=4), tank="t1", drained_l=30.0, filled_l=30.0),
    ], NOW)  # fmt: skip
    assert NOT_KNOWN in room.get(f"{AT}/tanks/t1").text  # it went into what was filled before it
    record(store, ROOM, [
        Swap(at=NOW - timedelta(hours=2), tank="t1", drained_l=30.0, filled_l=30.0),
    ], NOW)  # fmt: skip
    assert NOT_KNOWN not in room.get(f"{AT}/tanks/t1").text
    assert NOT_KNOWN not in room.get(AT).text


@pytest.mark.parametrize("what", ["eye_light", "fire"])
def test_one_touch_holds_the_station_whose_light_hurt_or_that_burned(
    room: TestClient, store: Store, what: str
) -> None:
    lamp = Station(
        at=START, station="s1", name="Station 1", source="led", wavelength_nm=405, layout="centre"
    )
    record(store, ROOM, [lamp], NOW)
    page = room.get(f"{AT}/problem/{what}").text
    assert "Hold Station 1" in page
    assert "One touch holds it" in page
    done = report(room, what, station="s1", done="Recorded at once")
    assert done.status_code == 200
    assert "Station 1" in done.text
    assert state(store, "station", "s1").hold.is_held
    cure = {"station": "s1", "resin": "slate", "minutes": 5, "kind": "cure", "by": "Wren"}
    refused = room.post(f"/api/v1/rooms/{ROOM}/entries", json=cure)
    assert refused.status_code == 422
    assert "station" in {one["field"] for one in refused.json()["errors"]}
    unknown = report(room, what, station="s9", submission="other")
    assert unknown.status_code == 422
    assert "Choose the station from the list" in unknown.text
