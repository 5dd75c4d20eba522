"""A file tells what was: it lifts nothing that somebody holds here now."""

import json
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.errors import Conflict
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.incidents import HOLD, Incident, StationHeld, TankHeld
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, LotHeld, StockReceived, StockScrapped
from app.domain.roomlog.kinds.waste import DRUM, Drum, DrumQuarantined, Pour
from app.services.door import bring_in as record
from app.services.importing.importing import BadLines, Checked, check_file, store_checked
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing
from tests.factories import NOW, ROOM, START, at_now, furnish
from tests.furnished import new_store

AGO = NOW - timedelta(hours=2)
LATER, BEFORE = NOW - timedelta(hours=1), NOW - timedelta(hours=3)
WORD = {"lead": "Curlew", "reason": "It is fine"}
HERE = [
    TankHeld(at=AGO, id="held", tank="t1", reason="The seal leaks", cause="lead", by="Wren"),
    Station(at=START, station="s1", name="Station 1", source="led", wavelength_nm=405,
            layout="centre"),
    StationHeld(at=AGO, station="s1", reason="The lid is cracked", cause="lead", by="Wren"),
    Drum(at=START, drum="d1", name="Drum 1", capacity_l=200.0, stream="isopropanol_resin",
         area="central"),
    DrumQuarantined(at=AGO, drum="d1", reason="Unknown solvent in it", by="Wren"),
    Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L"),
    StockReceived(at=START, item="ipa", quantity=40.0, lot="L1"),
    LotHeld(at=AGO, item="ipa", lot="L1", standing="quarantined", reason="Smells", by="Wren"),
    Incident(at=AGO, incident="i1", problem="spill", tank="t2", volume_l=2.0, by="Wren"),
]  # fmt: skip
LIFTS: list[dict[str, Any]] = [
    {"kind": "tank_released", "tank": "t1", **WORD},
    {"kind": "station_released", "station": "s1", **WORD},
    {"kind": "drum_released", "drum": "d1", **WORD},
    {"kind": "lot_released", "item": "ipa", "lot": "L1", **WORD},
    {"kind": "incident_closed", "incident": "i1", **WORD},
    {"kind": "withdrawal", "withdraws": "held"},
    {"kind": "tank_held", "corrects": "held", "tank": "t2", "reason": "Other", "cause": "lead"},
]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    store = new_store(tmp_path)
    furnish(store, tanks=2)
    record(store, ROOM, HERE, NOW)
    yield store
    store.close()


def check(store: Store, folder: Path, *lines: dict[str, Any]) -> Checked:
    path = folder / "log.jsonl"
    path.write_text("\n".join(json.dumps(line) for line in lines))
    return check_file(store, ROOM, path, NOW)


def at(moment: Any, line: dict[str, Any]) -> dict[str, Any]:
    return {"at": moment.isoformat(), **line}


def is_held(store: Store) -> bool:
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id
        assert room_id is not None
        return bool(thing(session, room_id, HOLD, "t1").is_held)


@pytest.mark.parametrize("line", LIFTS, ids=lambda line: line["kind"] + line.get("corrects", ""))
def test_a_line_that_lifts_what_is_held_here_does_not_fit(
    store: Store, tmp_path: Path, line: dict[str, Any]
) -> None:
    wash = {"kind": "wash", "tank": "t2", "resin": "slate", "parts": 2}
    checked = check(store, tmp_path, at(LATER, wash), at(LATER, line))
    assert [one.line for one in checked.preview.errors] == [2]
    assert "lead" in checked.preview.errors[0].message
    assert len(checked.preview.lifts) == 1
    with pytest.raises(BadLines):
        store_checked(store, ROOM, checked, at_now)
    assert len(store_checked(store, ROOM, checked, at_now, skip_bad=True).ids) == 1
    assert is_held(store)


def test_a_used_up_lot_that_is_held_is_released_by_no_file(store: Store, tmp_path: Path) -> None:
    gone = StockScrapped(at=BEFORE, item="ipa", lot="L1", quantity=40.0, reason="damaged")
    record(store, ROOM, [gone], NOW)
    said = {"kind": "lot_released", "item": "ipa", "lot": "L1", **WORD}
    refused = check(store, tmp_path, at(LATER, said)).preview
    assert "lead" in refused.errors[0].message


def test_a_file_does_not_say_anew_what_is_in_a_drum_in_quarantine(
    store: Store, tmp_path: Path
) -> None:
    record(store, ROOM, [Pour(at=BEFORE, drum="d1", volume_l=40.0)], NOW)
    said = {"kind": "drum_changed", "drum": "d1", "stream": "water_wash", "note": "Tested"}
    refused = check(store, tmp_path, at(LATER, said)).preview
    assert [(one.line, one.field) for one in refused.errors] == [(1, "drum")]
    assert "lead" in refused.errors[0].message
    named = {"kind": "drum_changed", "drum": "d1", "name": "Left drum"}
    assert check(store, tmp_path, at(LATER, named)).preview.bad_lines == 0


def test_a_file_may_empty_a_drum_in_quarantine(store: Store, tmp_path: Path) -> None:
    record(store, ROOM, [
        Pour(at=BEFORE, drum="d1", volume_l=40.0),
        Drum(at=START, drum="d2", name="Drum 2", capacity_l=200.0, stream="isopropanol_resin",
             area="central"),
    ], NOW)  # fmt: skip
    moved = {"kind": "drum_transfer", "drum": "d2", "from_drum": "d1", "volume_l": 40.0,
             "waste_kg": 32.0}  # fmt: skip
    checked = check(store, tmp_path, at(LATER, moved))
    assert checked.preview.lifts == ()
    store_checked(store, ROOM, checked, at_now)
    with Session(store.reader) as session:
        taker = thing(session, find_room(session, ROOM).id or 0, DRUM, "d2")
    assert taker.is_quarantined
    assert "Unknown solvent in it" in taker.quarantine_reason


def test_a_file_makes_nobody_a_lead_where_there_is_one(store: Store, tmp_path: Path) -> None:
    made = {"kind": "crew_member", "crew": "crew", "name": "Somebody", "role": "lead"}
    assert check(store, tmp_path, at(LATER, made)).preview.bad_lines == 0  # nobody is yet
    here = CrewMember(at=START, crew="crew", name="Curlew", role="lead", by="Curlew")
    record(store, ROOM, [here], NOW)
    refused = check(store, tmp_path, at(LATER, made)).preview
    assert [(one.line, one.field) for one in refused.errors] == [(1, "role")]
    assert (refused.bad_lines, refused.lifts) == (1, ())
    helper = {**made, "role": "technician"}
    assert check(store, tmp_path, at(LATER, helper)).preview.bad_lines == 0
    moved = {**made, "name": "Curlew", "role": "manager"}  # who releases nothing
    refused = check(store, tmp_path, at(LATER, moved)).preview
    assert [(one.line, one.field) for one in refused.errors] == [(1, "role")]


def test_an_older_release_comes_in_and_lifts_nothing(store: Store, tmp_path: Path) -> None:
    lines = [at(BEFORE, line) for line in LIFTS[:1]]
    checked = check(store, tmp_path, *lines)
    assert (checked.preview.bad_lines, checked.preview.lifts) == (0, ())
    store_checked(store, ROOM, checked, at_now)
    assert is_held(store)


def test_a_hold_entered_late_is_not_lifted_by_a_release_that_knew_nothing_of_it(
    store: Store, tmp_path: Path
) -> None:
    checked = check(store, tmp_path, at(LATER, LIFTS[0]))
    assert checked.preview.lifts == ("T1, The seal leaks",)


def test_a_file_that_tells_of_hold_and_release_comes_in(store: Store, tmp_path: Path) -> None:
    held = {"kind": "tank_held", "tank": "t2", "reason": "Old seal", "cause": "lead"}
    first = [at(BEFORE, held)]
    store_checked(store, ROOM, check(store, tmp_path, *first), at_now)
    released = {"kind": "tank_released", "tank": "t2", **WORD}
    grown = check(store, tmp_path, *first, at(LATER, released))
    assert (grown.preview.bad_lines, grown.preview.new) == (0, 1)
    store_checked(store, ROOM, grown, at_now)


def test_what_a_file_alone_released_of_another_file_stays_held(
    store: Store, tmp_path: Path
) -> None:
    held = {"kind": "tank_held", "tank": "t2", "reason": "Old seal", "cause": "lead"}
    store_checked(store, ROOM, check(store, tmp_path, at(BEFORE, held)), at_now)
    released = {"kind": "tank_released", "tank": "t2", **WORD}
    assert check(store, tmp_path, at(LATER, released)).preview.bad_lines == 1


def test_what_was_held_since_the_file_was_read_stays_held(store: Store, tmp_path: Path) -> None:
    released = {"kind": "tank_released", "tank": "t2", **WORD}
    checked = check(store, tmp_path, at(LATER, released))
    late = TankHeld(at=AGO, tank="t2", reason="Cracked", cause="lead", by="Wren")
    record(store, ROOM, [late], NOW)
    with pytest.raises(Conflict, match="held since"):
        store_checked(store, ROOM, checked, at_now)
