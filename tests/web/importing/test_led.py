"""A file does in nobody's place what a lead decides or what is under way on a page here."""

import json
from datetime import timedelta
from typing import Any

import pytest
from fastapi.testclient import TestClient
from httpx import Response

from app.domain.roomlog.kinds.checklists import EXAMPLE_STEPS, SwapOpened
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.inspections import InspectionStarted
from app.domain.roomlog.kinds.site import CrewMember
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.web.importing.test_importing import count, settled, uploaded

API = f"/api/v1/rooms/{ROOM}"
AGO = NOW - timedelta(hours=2)
CURLEW = CrewMember(at=START, id="lead", crew="crew", name="Curlew", role="lead")
WREN = CrewMember(at=START, id="second", crew="crew", name="Wren", role="lead")
HERE = [
    CURLEW,
    WREN,
    SwapOpened(at=AGO, swap="s1", tank="t1", checklist="usual", version=0, steps=EXAMPLE_STEPS,
               estimated_l=40.0, capacity_l=45.0, solvent="isopropanol"),
    InspectionStarted(at=AGO, inspection="n1", tank="t2", positions=[
        {"component": "t2-seal", "part": "lid_seal", "name": "Seal"}]),
    Incident(at=AGO, id="report", incident="i1", problem="wrong_solvent", tank="t2", by="Dunlin"),
]  # fmt: skip
DECIDED: list[dict[str, Any]] = [
    {"kind": "tank_change", "tank": "t2", "max_resin_percent": 50.0},
    {"kind": "site_rules", "site": "site", "swaps_per_day": 9},
    {"kind": "tank", "tank": "t2", "name": "T2", "solvent": "tpm", "capacity_l": 40.0},
]  # fmt: skip
UNDER_WAY: list[tuple[dict[str, Any], str]] = [
    ({"kind": "step_done", "swap": "s1", "step": "drain", "answers": {"drained_l": 30.0}},
     "This swap is under way here. Tick its steps on its page."),
    ({"kind": "inspection_answered", "inspection": "n1", "component": "t2-seal",
      "answers": {"seal_weeps": "no"}, "verdict": "serviceable"},
     "This inspection is under way here. Answer and sign it on its page."),
    ({"kind": "incident", "corrects": "report", "incident": "i1", "problem": "near_miss",
      "done": "Nothing"},
     "A lead closes a reported problem on its page."),
    ({"kind": "incident", "incident": "i1", "problem": "near_miss",
      "done": "Nothing"},
     "This problem is reported here."),
    ({"kind": "withdrawal", "withdraws": "report"}, "A lead"),
    ({"kind": "room_archived", "archive": "archive", "room_name": "x", "lead": "Curlew"},
     "1 swap is under way"),
]  # fmt: skip


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    record(store, ROOM, HERE, NOW)
    return client


def text(line: dict[str, Any]) -> str:
    return json.dumps({"at": (NOW - timedelta(hours=1)).isoformat(), "by": "Dunlin", **line})


def sent(client: TestClient, line: dict[str, Any], to: str = "import", **asked: str) -> Response:
    return client.post(
        f"{API}/{to}", content=text(line), params=asked,
        headers={"content-type": "application/x-ndjson"},
    )  # fmt: skip


@pytest.mark.parametrize("line", DECIDED, ids=lambda line: line["kind"])
def test_a_program_names_a_lead_for_what_a_lead_decides(
    room: TestClient, store: Store, line: dict[str, Any]
) -> None:
    before = count(store)
    assert len(sent(room, line, "import/preview").json()["decided"]) == 1
    for who in ({}, {"by": "Dunlin"}):
        answer = sent(room, line, **who)
        assert answer.status_code == 422
        assert "Only a lead or manager can do this: Curlew, Wren." in answer.text
        assert '"by"' in answer.text
    assert count(store) == before
    assert sent(room, line, by="Curlew").status_code == 201
    assert count(store) == before + 1


def test_the_form_asks_which_lead_stores_it(room: TestClient, store: Store) -> None:
    before = count(store)
    address = uploaded(room, text(DECIDED[0]))
    page = settled(room, address).text
    assert "In this file 1 line says what only a lead decides: line 1," in page
    asked = room.post(f"{address}/store", data={})
    assert asked.status_code == 422
    assert "Which lead does this?" in asked.text
    settled(room, address)
    assert count(store) == before
    room.post(f"{address}/store", data={"as_lead": "Curlew"})
    assert "Stored: 1 entry" in settled(room, address).text
    assert count(store) == before + 1


def test_a_room_without_a_lead_asks_nothing(client: TestClient) -> None:
    assert sent(client, DECIDED[0]).status_code == 201


@pytest.mark.parametrize("line, words", UNDER_WAY, ids=lambda one: str(one)[:40])
def test_a_file_does_not_act_on_what_stands_or_is_under_way(
    room: TestClient, store: Store, line: dict[str, Any], words: str
) -> None:
    before = count(store)
    for asked in ({}, {"by": "Curlew"}):
        answer = sent(room, line, **asked)
        assert answer.status_code == 422, answer.text
        assert words in answer.text
    assert count(store) == before


def test_only_a_lead_takes_back_who_is_lead(room: TestClient) -> None:
    address = f"{API}/entries/lead/withdrawal"
    refused = room.post(address, json={"by": "Dunlin", "note": "wrong"})
    assert refused.status_code == 409
    assert "Only a lead or manager takes this back: Curlew, Wren" in refused.text
    assert room.post(address, json={"by": "Wren", "note": "wrong"}).status_code == 201


def test_only_a_lead_takes_back_an_import_of_what_a_lead_decided(
    room: TestClient, store: Store
) -> None:
    assert sent(room, DECIDED[0], by="Curlew").status_code == 201
    token = room.get(f"{API}/imports").json()[0]["token"]
    before = count(store)
    for who in ({}, {"by": "Dunlin"}):
        refused = room.post(f"{API}/imports/{token}/undo", json=who)
        assert refused.status_code == 422
        assert "Only a lead or manager can do this: Curlew, Wren." in refused.text
    page = f"/rooms/{ROOM}/imports/{token}"
    asked = room.post(f"{page}/undo", data={})
    assert asked.status_code == 422
    assert "Which lead does this?" in asked.text
    settled(room, page)
    assert count(store) == before
    room.post(f"{page}/undo", data={"as_lead": "Curlew"})
    settled(room, page)
    assert count(store) == before + 1


HEATED = {"kind": "tank_build", "tank": "t1", "heated_to_c": 45.0}
UNSAFE: list[tuple[dict[str, Any], str]] = [
    (HEATED, "It may catch fire. Only with a lead and a reason."),
    ({**HEATED, "lead": "Dunlin", "reason": "Cold today"}, "Only a lead can do this: Curlew"),
    ({"kind": "part_lot_released", "lot": "L7", "lead": "Curlew"}, "No entry names this lot."),
    ({"kind": "qualified", "qualifications": "qualifications", "person": "Dunlin", "act": "swap",
       "until_on": "2027-06-30", "supervised_times": 3, "lead": "Dunlin"},
     "Only a lead can do this: Curlew"),
    ({"kind": "photo_rules", "rules": "photo_rules", "keep_originals": True,
       "lead": "Dunlin"}, "Only a lead can do this: Curlew"),
]  # fmt: skip


@pytest.mark.parametrize("line, said", UNSAFE, ids=lambda one: str(one)[:40])
def test_what_a_lead_brings_in_meets_every_other_rule(
    room: TestClient, store: Store, line: dict[str, Any], said: str
) -> None:
    before = count(store)
    answer = sent(room, line, by="Curlew")
    assert answer.status_code == 422, answer.text
    assert said in answer.text
    assert count(store) == before


def test_a_tank_set_up_anew_by_a_file_gets_nothing_that_its_heat_sets_on_fire(
    room: TestClient, store: Store
) -> None:
    later = (NOW - timedelta(minutes=5)).isoformat()
    warm = {
        **HEATED,
        "at": later,
        "lead": "Curlew",
        "reason": "Tripropylene glycol methyl ether only",
    }
    slow = {"kind": "tank", "tank": "t1", "name": "T1", "solvent": "tpm", "capacity_l": 40.0}
    assert sent(room, slow, by="Curlew").status_code == 201
    assert sent(room, {**HEATED, "heated_to_c": 40.0}, by="Curlew").status_code == 201
    before = count(store)
    refused = sent(room, {**slow, "solvent": "isopropanol"}, by="Curlew")
    assert refused.status_code == 422
    assert "Switch both off and enter that first." in refused.text
    assert count(store) == before
    for who in ({}, {"by": "Dunlin"}):
        assert "Only a lead or manager can do this" in sent(room, warm, **who).text
    assert count(store) == before


def test_a_release_waits_for_the_washes_of_its_own_file(room: TestClient, store: Store) -> None:
    """The same file twice: the second time its washes are stored, and the release is checked."""
    wash = {"kind": "wash", "id": "w7", "tank": "t1", "resin": "slate", "area_cm2": 500.0,
            "lot": "L 7"}  # fmt: skip
    release = {"kind": "part_lot_released", "id": "r7", "lot": "l 7", "lead": "Curlew"}
    first = told(room, wash, release)
    assert first.status_code == 422
    assert "bring the same file in again" in first.text
    assert told(room, wash).status_code == 201
    again = told(room, wash, release)
    assert again.status_code == 422
    assert "Not released: no cure logged" in again.text.replace("“", "")
    accepted = {**release, "accepted": "no cure logged", "reason": "Wash test only"}
    before = count(store)
    done = told(room, wash, accepted)
    assert (done.status_code, count(store)) == (201, before + 1), done.text


def told(room: TestClient, *lines: dict[str, Any]) -> Response:
    content = "\n".join(json.dumps({"at": AGO.isoformat(), **one}) for one in lines)
    return room.post(
        f"{API}/import", content=content, params={"by": "Curlew"},
        headers={"content-type": "application/x-ndjson"},
    )  # fmt: skip
