"""A report holds what it names by whichever door it comes: only a word keeps a thing in use."""

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.roomlog.kinds.curing import STATION, Station
from app.domain.roomlog.kinds.incidents import HOLD
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import DRUM, Drum
from app.services.door import bring_in as record
from app.services.importing.importing import check_file, store_checked
from app.services.rooms import find_room
from app.services.then import rows_of
from app.store.engine import Store
from app.store.things import thing
from tests.factories import NOW, ROOM, START

ENTRIES = f"/api/v1/rooms/{ROOM}/entries"
PAGE = f"/rooms/{ROOM}/problem"
FIELD = {"tank": HOLD, "drum": DRUM, "station": STATION}
HOLDING = [
    ("leak", "tank"), ("leak", "drum"), ("wrong_solvent", "tank"), ("wrong_solvent", "drum"),
    ("drum_warm", "drum"), ("fire", "tank"), ("fire", "station"), ("eye_light", "station"),
]  # fmt: skip
KEPT = [pair for pair in HOLDING if pair[0] in ("leak", "wrong_solvent")]


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    record(store, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        *(Drum(at=START, drum=key, name=f"Drum {key}", capacity_l=200.0, area="central",
               stream="isopropanol_resin", volume_l=20.0) for key in ("d1", "d2")),
        Station(at=START, station="s1", name="Station 1", source="led", wavelength_nm=405.0,
                layout="centre"),
    ], NOW)  # fmt: skip
    return client


KEYS = {"tank": "t1", "drum": "d1", "station": "s1"}


def said(problem: str, what: str, **more: Any) -> dict[str, Any]:
    """A report as a program words it."""
    return {"kind": "incident", "incident": "i1", "problem": problem, what: KEYS[what],
            "people": "Wren", "by": "Wren", **more}  # fmt: skip


def state(store: Store, what: str, key: str = "") -> Any:
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        return thing(session, room_id, FIELD[what], key or KEYS[what])


def is_held(store: Store, what: str, key: str = "") -> bool:
    found = state(store, what, key)
    if what == "drum":
        return bool(found.is_quarantined)
    return found is not None and bool((found.hold if what == "station" else found).is_held)


def correct(room: TestClient, first: str, word: dict[str, Any]) -> int:
    return room.post(f"{ENTRIES}/{first}/correction", json=word).status_code


@pytest.mark.parametrize("problem, what", HOLDING)
def test_a_program_that_reports_holds_what_it_names(
    room: TestClient, store: Store, problem: str, what: str
) -> None:
    assert room.post(ENTRIES, json=said(problem, what)).status_code == 201
    assert is_held(store, what)
    if what != "drum" or problem != "drum_warm":
        with Session(store.reader) as session:
            incident: Any = thing(session, find_room(session, ROOM).id or 0, "incident", "i1")
        assert KEYS[what] in (*incident.held, *incident.quarantined, *incident.stations)


@pytest.mark.parametrize("problem, what", HOLDING)
def test_a_report_by_form_holds_it_once(
    room: TestClient, store: Store, problem: str, what: str
) -> None:
    typed = {what: KEYS[what], "by": "Wren", "submission": "one", "people": "Wren"}
    assert room.post(f"{PAGE}/{problem}", data=typed, follow_redirects=False).status_code == 303
    assert is_held(store, what)
    if what != "drum":
        found = state(store, what)
        assert len((found.hold if what == "station" else found).holds) == 1


@pytest.mark.parametrize("problem, what", KEPT)
def test_a_word_keeps_it_in_use_and_stands_in_the_log(
    room: TestClient, store: Store, problem: str, what: str
) -> None:
    word = said(problem, what, **{f"keeps_{what}": True})
    assert room.post(ENTRIES, json=word).status_code == 201
    assert not is_held(store, what)
    assert f"the {what} stays in use" in room.get(f"/rooms/{ROOM}/log").text


def test_the_form_says_in_the_log_that_it_stays_in_use(room: TestClient, store: Store) -> None:
    typed = {"drum": "d1", "by": "Wren", "keeps_drum": "on", "submission": "one"}
    assert room.post(f"{PAGE}/leak", data=typed, follow_redirects=False).status_code == 303
    assert not is_held(store, "drum")
    assert "the drum stays in use" in room.get(f"/rooms/{ROOM}/log").text


@pytest.mark.parametrize("what", ["tank", "drum"])
@pytest.mark.parametrize("problem", ["drum_warm", "fire", "eye_light"])
def test_no_word_keeps_in_use_what_burns_or_swells(
    room: TestClient, problem: str, what: str
) -> None:
    word = said(problem, what, **{f"keeps_{what}": True})
    answer = room.post(ENTRIES, json=word)
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == f"keeps_{what}"


def test_a_correction_that_makes_it_a_leak_holds_it(room: TestClient, store: Store) -> None:
    first = room.post(ENTRIES, json=said("near_miss", "drum")).json()["ids"][0]
    assert not is_held(store, "drum")
    assert correct(room, first, said("leak", "drum")) == 201
    assert is_held(store, "drum")


def test_a_correction_to_another_drum_holds_that_and_leaves_the_first_to_a_lead(
    room: TestClient, store: Store
) -> None:
    first = room.post(ENTRIES, json=said("leak", "drum")).json()["ids"][0]
    again = said("leak", "drum", note="It was the other one") | {"drum": "d2"}
    assert correct(room, first, again) == 201
    assert is_held(store, "drum", "d2")
    assert is_held(store, "drum")


def test_a_correction_of_words_holds_nothing_again(room: TestClient, store: Store) -> None:
    first = room.post(ENTRIES, json=said("leak", "drum")).json()["ids"][0]
    free = {"kind": "drum_released", "drum": "d1", "lead": "Curlew", "reason": "A new bung"}
    assert room.post(ENTRIES, json=free).status_code == 201
    assert correct(room, first, said("leak", "drum", note="At the bung")) == 201
    assert not is_held(store, "drum")


def test_a_withdrawn_report_leaves_the_hold_to_a_lead(room: TestClient, store: Store) -> None:
    first = room.post(ENTRIES, json=said("leak", "drum")).json()["ids"][0]
    word = {"by": "Wren", "note": "Nothing leaked"}
    assert room.post(f"{ENTRIES}/{first}/withdrawal", json=word).status_code == 201
    assert is_held(store, "drum")


@pytest.mark.parametrize("what", ["tank", "drum", "station"])
def test_a_report_of_before_a_release_holds_from_now(
    room: TestClient, store: Store, what: str
) -> None:
    """Whoever released it knew nothing of this one."""
    free = {"kind": f"{what}_released", what: KEYS[what], "lead": "Curlew", "reason": "Mended"}
    hold = {"tank": {"kind": "tank_held", "cause": "lead"},
            "station": {"kind": "station_held", "cause": "lead"},
            "drum": {"kind": "drum_quarantined"}}[what]  # fmt: skip
    word = {**hold, what: KEYS[what], "reason": "Drips", "by": "Wren"}
    assert room.post(ENTRIES, json=word).status_code == 201
    assert room.post(ENTRIES, json=free).status_code == 201
    problem = "fire" if what == "station" else "leak"
    at = (NOW - timedelta(hours=3)).isoformat()
    assert room.post(ENTRIES, json=said(problem, what, at=at)).status_code == 201
    assert is_held(store, what)


@pytest.mark.parametrize("what", ["drum", "station"])
def test_a_report_names_what_is_there(room: TestClient, what: str) -> None:
    problem = "leak" if what == "drum" else "fire"
    answer = room.post(ENTRIES, json=said(problem, what) | {what: "nowhere"})
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["field"] == what


def bring(store: Store, folder: Path, *lines: dict[str, Any]) -> Any:
    path = folder / "log.jsonl"
    path.write_text("\n".join(json.dumps(line) for line in lines))
    checked = check_file(store, ROOM, path, NOW)
    store_checked(store, ROOM, checked, lambda: NOW)
    return checked


@pytest.mark.usefixtures("room")
@pytest.mark.parametrize("problem, what", HOLDING)
def test_a_file_with_an_open_problem_holds_what_it_names(
    store: Store, tmp_path: Path, problem: str, what: str
) -> None:
    line = said(problem, what, at=(NOW - timedelta(days=2)).isoformat())
    bring(store, tmp_path, line)
    assert is_held(store, what)
    found = state(store, what)
    bring(store, tmp_path, line)
    assert state(store, what) == found


@pytest.mark.usefixtures("room")
def test_a_file_that_closes_the_problem_or_says_it_stays_holds_nothing(
    store: Store, tmp_path: Path
) -> None:
    at = (NOW - timedelta(days=2)).isoformat()
    word = {"lead": "Curlew", "reason": "A new bung"}
    bring(
        store, tmp_path, said("leak", "drum", at=at),
        {"kind": "incident_closed", "incident": "i1", "at": at, **word},
        said("leak", "tank", at=at, keeps_tank=True) | {"incident": "i2"},
        said("leak", "drum", at=at) | {"incident": "i3", "drum": "d2"},
        {"kind": "drum_released", "drum": "d2", "at": at, **word},
    )  # fmt: skip
    assert not is_held(store, "drum")
    assert not is_held(store, "tank")
    assert not is_held(store, "drum", "d2")


def _hold_entry(store: Store, what: str) -> str:
    kind = {"tank": "tank_held", "station": "station_held", "drum": "drum_quarantined"}[what]
    with Session(store.reader) as session:
        rows = rows_of(session, find_room(session, ROOM).id or 0, FIELD[what], KEYS[what])
        (only,) = [row.uid for row in rows if row.kind == kind]
    return str(only)


@pytest.mark.parametrize("problem, what", HOLDING)
def test_who_reported_cannot_take_back_the_hold_alone(
    room: TestClient, store: Store, problem: str, what: str
) -> None:
    """Its problem is open: the report goes first, or a lead closes it."""
    first = room.post(ENTRIES, json=said(problem, what)).json()["ids"][0]
    hold, word = _hold_entry(store, what), {"by": "Wren", "note": "By mistake"}
    answer = room.post(f"{ENTRIES}/{hold}/withdrawal", json=word)
    assert answer.status_code == 409
    assert "Close the problem, or withdraw the report" in answer.text
    page = room.get(f"/rooms/{ROOM}/entries/{hold}").text
    assert "Close the problem, or withdraw the report" in page
    assert is_held(store, what)
    assert room.post(f"{ENTRIES}/{first}/withdrawal", json=word).status_code == 201
    assert room.post(f"{ENTRIES}/{hold}/withdrawal", json=word).status_code == 201
    assert not is_held(store, what)
