"""A curing station that is held: nothing is cured in it, by hand or program, until a lead says."""

from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.curing import CureRecipe
from app.domain.roomlog.kinds.site import CrewMember
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.answers import sure
from tests.factories import NOW, ROOM, START
from tests.web.curing.rooms import AT, aged, entries, state

HOLD = f"{AT}/stations/house1/hold"
CURE = {"resin": "slate", "station": "house1", "minutes": "5.4"}
WHY = {"reason": "Lamp stays on with the door open", "by": "Wren"}


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    aged(store)
    record(store, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        CureRecipe(at=START, resin="slate", dose_mj_cm2=6000),
    ], NOW)  # fmt: skip
    return client


def test_whoever_sees_something_holds_a_station_and_it_says_so(room: Any, store: Store) -> None:
    assert "Hold the station" in room.get(f"{AT}/stations/house1").text
    page = room.post(HOLD, data=WHY).text
    assert "Do not cure here." in page
    assert "Lamp stays on with the door open" in page
    assert f'href="{HOLD}">Held: why, and release' in page
    assert state(store).hold.cause == "lead"
    board = room.get(AT).text
    assert '<span class="tooth-days">Held</span>' in board
    assert "Held: Lamp stays on with the door open. A lead releases it." in board
    assert room.post(HOLD, data={"reason": " "}).status_code == 422
    assert room.get(f"{AT}/stations/gone/hold").status_code == 404


def test_nothing_is_cured_in_a_held_station_by_hand_or_program(room: Any) -> None:
    room.post(HOLD, data=WHY)
    chosen = room.get(f"{AT}/cure?resin=slate&station=house1").text
    assert "It is held: Lamp stays on with the door open." in chosen
    assert "Save the cure" not in chosen
    answer = sure(room, f"{AT}/cure", CURE)
    assert answer.status_code == 422
    assert "It is held" in answer.text
    sent = {"kind": "cure", "station": "house1", "resin": "slate", "minutes": 5.4}
    answer = room.post(f"/api/v1{AT}/entries", json={**sent, "at": NOW.isoformat()})
    assert answer.status_code == 422
    assert "It is held" in answer.text
    assert entries(room, "cure") == []


def test_a_cure_from_before_the_hold_may_still_be_entered(room: Any) -> None:
    room.post(HOLD, data=WHY)
    earlier = (NOW - timedelta(hours=2)).isoformat()
    sent = {"kind": "cure", "station": "house1", "resin": "slate", "minutes": 5.4, "at": earlier}
    asked = room.post(f"/api/v1{AT}/entries", json=sent)
    assert asked.status_code == 422
    assert "by" in {error["field"] for error in asked.json()["errors"]}
    asked = room.post(f"/api/v1{AT}/entries", json={**sent, "by": "Wren"})
    assert asked.status_code == 409
    names = ",".join(question["name"] for question in asked.json()["questions"])
    assert "done_before_fault" in names
    stored = room.post(f"/api/v1{AT}/entries?confirm={names}", json={**sent, "by": "Wren"})
    assert stored.status_code == 201
    for page in (f"{AT}/log?kind=cure", HOLD):
        text = room.get(page).text.lower()
        assert "entered after the hold of this station" in text, page


def test_only_a_lead_releases_a_station_on_its_page_or_by_a_program(room: Any) -> None:
    room.post(HOLD, data=WHY)
    by_nobody = {"lead": "Wren", "reason": "Switch replaced"}
    refused = room.post(f"{HOLD}/release", data=by_nobody)
    assert refused.status_code == 422
    assert "Only a lead can do this: Curlew." in refused.text
    sent = {"kind": "station_released", "station": "house1", "at": NOW.isoformat(), **by_nobody}
    assert room.post(f"/api/v1{AT}/entries", json=sent).status_code == 422
    released = room.post(f"{HOLD}/release", data={**by_nobody, "lead": "Curlew"})
    assert "Do not cure here." not in released.text
    assert "Last released" in room.get(HOLD).text
    assert sure(room, f"{AT}/cure", CURE).status_code == 200
    assert room.post(f"{HOLD}/release", data={**by_nobody, "lead": "Curlew"}).status_code == 409
