"""A correction is no way round what a new entry is refused for, nor round what stands."""

from datetime import timedelta
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import Incident, TankHeld, TankReleased
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.domain.roomlog.kinds.waste import (
    Drum,
    DrumClosed,
    DrumQuarantined,
    PickupBooked,
    PickupShipped,
    Pour,
)
from app.services.door import bring_in as record
from tests.api.asking import ENTRIES, errors_of
from tests.clocks import Clock
from tests.factories import NOW, ROOM, START, wash

HOUR = timedelta(hours=1)
AGO = NOW - 2 * HOUR


def drum(key: str, **more: Any) -> Drum:
    values = {"name": key, "capacity_l": 100.0, "stream": "isopropanol_resin", "area": "central"}
    return Drum(at=START, id=key, drum=key, **(values | more))


def room(client: TestClient, *entries: Entry) -> TestClient:
    """The room after these entries, entered two hours ago."""
    lead = CrewMember(at=START, crew="crew", name="Curlew", role="lead")
    record(client.app.state.store, ROOM, [lead, *entries], AGO)  # type: ignore[attr-defined]
    return client


def correct(client: TestClient, uid: str, kind: str, **values: Any) -> Any:
    return client.post(f"{ENTRIES}/{uid}/correction", json={"kind": kind, **values})


POUR = {"volume_l": 10.0, "stream": "isopropanol_resin"}


def test_a_wash_is_not_moved_into_a_held_tank(client: TestClient) -> None:
    held = TankHeld(at=AGO - HOUR, tank="t2", reason="The seal leaks", cause="lead")
    room(client, held, wash(0.1, id="w"))
    refused = correct(client, "w", "wash", tank="t2", resin="slate", parts=3)
    assert errors_of(refused).keys() == {"tank"}
    assert correct(client, "w", "wash", tank="t1", resin="slate", parts=3).status_code == 201


def test_a_wash_is_not_moved_behind_the_hold_of_its_tank(client: TestClient) -> None:
    held = TankHeld(at=AGO - HOUR, tank="t1", reason="The seal leaks", cause="lead")
    room(client, held, wash(0.5, id="before"), wash(0.1, id="during"))
    values = {"tank": "t1", "resin": "slate", "parts": 3}
    late = correct(client, "before", "wash", at=NOW.isoformat(), **values)
    assert errors_of(late).keys() == {"tank"}
    assert correct(client, "before", "wash", **values).status_code == 201
    assert correct(client, "during", "wash", **values).status_code == 201  # it was so before


def test_a_pour_is_not_moved_into_a_closed_drum_nor_behind_the_closing_of_its_own(
    client: TestClient,
) -> None:
    room(
        client, drum("d1"), drum("d2"), Pour(at=START + HOUR, id="p", drum="d1", **POUR),
        Pour(at=START + HOUR, id="q", drum="d2", **POUR),
        DrumClosed(at=START + 2 * HOUR, drum="d2", is_cool=True),
    )  # fmt: skip
    word = {"by": "Curlew", "note": "Another drum", **POUR}  # its days begin later, a lead's word
    moved = correct(client, "p", "pour", drum="d2", at=NOW.isoformat(), **word)
    assert "closed for shipping" in errors_of(moved)["drum"]
    late = correct(client, "q", "pour", drum="d2", at=NOW.isoformat(), **word)
    assert "closed for shipping" in errors_of(late)["drum"]
    assert correct(client, "q", "pour", drum="d2", **POUR, note="From t1").status_code == 201


def test_a_corrected_pour_is_measured_without_its_original(client: TestClient) -> None:
    first = Pour(at=START + HOUR, id="p", drum="d1", volume_l=80.0, stream="isopropanol_resin")
    room(client, drum("d1"), first)
    more = {"drum": "d1", "stream": "isopropanol_resin"}
    assert errors_of(correct(client, "p", "pour", volume_l=91, **more)).keys() == {"volume_l"}
    assert correct(client, "p", "pour", volume_l=89, **more).status_code == 201


def test_what_has_become_of_the_drum_since_does_not_forbid_a_note(client: TestClient) -> None:
    room(
        client, drum("d1"), Pour(at=START + HOUR, id="p", drum="d1", **POUR),
        DrumQuarantined(at=START + 2 * HOUR, drum="d1", reason="Smells"),
    )  # fmt: skip
    assert correct(client, "p", "pour", drum="d1", **POUR, note="From t1").status_code == 201
    (more,) = client.get(f"{ENTRIES}/p").json()["history"][-1:]
    refused = correct(client, more["entry"]["id"], "pour", drum="d1", **POUR | {"volume_l": 20})
    assert refused.status_code == 201  # of what was poured before it: a figure is set right


def test_more_is_not_used_than_the_shelf_had(client: TestClient) -> None:
    item = Item(at=START, item="gloves", name="Gloves", category="protection", unit="pair")
    room(
        client, item, StockReceived(at=START, item="gloves", quantity=5.0),
        StockUsed(at=AGO, id="u", item="gloves", quantity=2.0, purpose="other"),
    )  # fmt: skip
    values = {"item": "gloves", "purpose": "other"}
    assert "quantity" in errors_of(correct(client, "u", "stock_used", quantity=6, **values))
    assert correct(client, "u", "stock_used", quantity=5, **values).status_code == 201


def test_the_stream_of_a_drum_with_contents_is_not_corrected(client: TestClient) -> None:
    room(client, drum("d1"), Pour(at=START + HOUR, drum="d1", **POUR))
    values = {"drum": "d1", "name": "Red drum", "capacity_l": 100, "area": "central"}
    refused = correct(client, "d1", "drum", stream="wipes", **values)
    assert (refused.status_code, "lead" in refused.text) == (422, True)
    answer = correct(client, "d1", "drum", stream="isopropanol_resin", **values)
    assert answer.status_code == 201, answer.text


def test_a_release_is_not_moved_over_a_later_hold(client: TestClient) -> None:
    def held(at: Any) -> TankHeld:
        return TankHeld(at=at, tank="t1", reason="The seal leaks", cause="lead")

    said = {"tank": "t1", "lead": "Curlew", "reason": "Dry"}
    room(
        client, held(START + HOUR), TankReleased(at=START + 2 * HOUR, id="r", **said),
        held(START + 3 * HOUR),
    )  # fmt: skip
    moved = correct(client, "r", "tank_released", at=NOW.isoformat(), **said)
    assert moved.status_code == 409
    refused = client.post(
        ENTRIES, json={"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3}
    )
    assert "held" in errors_of(refused)["tank"]


def test_whoever_held_a_tank_sets_the_hold_right_within_ten_minutes(
    client: TestClient, clock: Clock
) -> None:
    body = {"kind": "tank_held", "tank": "t1", "reason": "Leaks", "cause": "lead", "by": "Wren"}
    (uid,) = client.post(ENTRIES, json=body).json()["ids"]
    (uid,) = correct(client, uid, **body | {"reason": "Lid cracked"}).json()["ids"]
    assert correct(client, uid, **body | {"by": "Dunlin"}).status_code == 409
    clock.wait(minutes=11)
    assert correct(client, uid, **body | {"tank": "t2"}).status_code == 409
    assert client.post(f"{ENTRIES}/{uid}/withdrawal", json={"by": "Wren"}).status_code == 409


@pytest.mark.parametrize(
    "changed, status",
    [({"volume_l": 3.0, "people": "Dunlin"}, 201), ({"problem": "leak"}, 409),
     ({"tank": "t2"}, 409), ({"at": START.isoformat()}, 409)],
)  # fmt: skip
def test_of_a_reported_problem_words_and_figures_are_set_right(
    client: TestClient, changed: dict[str, Any], status: int
) -> None:
    said = {"incident": "i1", "problem": "spill", "tank": "t1", "volume_l": 2.0}
    room(client, Incident(at=AGO, id="i", **said))
    assert correct(client, "i", "incident", **said | changed).status_code == status


def test_a_report_that_was_wrong_is_withdrawn_by_a_lead_with_the_reason(
    client: TestClient,
) -> None:
    room(client, Incident(at=AGO, id="i", incident="i1", problem="spill", tank="t1", by="Wren"))
    at = f"{ENTRIES}/i/withdrawal"
    assert client.post(at, json={"by": "Wren", "note": "It was water"}).status_code == 409
    assert errors_of(client.post(at, json={"by": "Curlew"})).keys() == {"note"}
    answer = client.post(at, json={"by": "Curlew", "note": "It was water"})
    assert answer.status_code == 201, answer.text


def test_drums_of_a_pickup_that_left_stay_its_drums(client: TestClient) -> None:
    booked = {"pickup": "p1", "pickup_on": "2026-02-20", "hauler": "Marl Waste"}
    room(
        client, drum("d1", volume_l=5.0), drum("d2"),
        PickupBooked(at=START, id="b", pickup="p1", drums=["d1"], hauler="Marl Waste",
                     pickup_on=START.date()),
        DrumClosed(at=START + HOUR, drum="d1", is_cool=True),
        PickupShipped(at=START + 2 * HOUR, pickup="p1", drums=["d1"], document="M1"),
    )  # fmt: skip
    assert correct(client, "b", "pickup_booked", drums=["d2"], **booked).status_code == 409
    assert client.post(f"{ENTRIES}/b/withdrawal", json={"by": "Wren"}).status_code == 409
