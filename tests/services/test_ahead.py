"""A clock that is a few minutes fast: what it lets go covers nothing that is entered afterwards."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.plausible import NAMES
from app.domain.roomlog.checks import CLOCK_TOLERANCE, NEVER_AHEAD, not_ahead
from app.domain.roomlog.kinds import KINDS, Entry
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import (
    Incident,
    IncidentClosed,
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, LotHeld, LotReleased, StockReceived
from app.domain.roomlog.kinds.waste import Drum, DrumChecked, DrumQuarantined, DrumReleased
from app.services.door import bring_in, enter
from app.services.entries import entry_of
from app.services.guards import GUARDS
from app.services.importing.storing import Origin, store_in_slices
from app.services.leading import LETS_GO
from app.services.rooms import find_room
from app.services.then import rows_of
from app.store.engine import Store
from app.store.things import thing
from tests.factories import NOW, ROOM, START, furnish, wash
from tests.furnished import new_store

AHEAD = NOW + timedelta(minutes=4)
SOON = NOW + timedelta(seconds=5)
SAID: dict[str, Any] = {"lead": "Curlew", "reason": "Looked at it", "by": "Curlew"}
HELD: dict[str, Any] = {"reason": "Leaks", "by": "Wren"}
OTHERS = (
    "duty_done", "drum_checked", "inspection_closed", "inspection_answered", "tank_contents",
    "removal", "drum_opened", "drum_changed", "tank_build", "crew_member", "qualified",
    "instrument_put_back", "drum_transfer",
)  # fmt: skip
"""Kinds besides a lead's releases after which something is free, or judged otherwise."""


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = new_store(tmp_path)
    furnish(made, tanks=2)
    bring_in(made, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        Drum(at=START, drum="d1", name="Drum 1", capacity_l=100.0, stream="isopropanol_resin",
             area="central"),
        Station(at=START, station="s1", name="Station 1", source="led",
                wavelength_nm=405.0, layout="grid_of_nine"),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol"),
        StockReceived(at=START, item="ipa", quantity=5.0, lot="A"),
    ], NOW)  # fmt: skip
    return made


def state(store: Store, kind: str, key: str) -> Any:
    with Session(store.reader) as session:
        return thing(session, find_room(session, ROOM).id or 0, kind, key)


def is_held(store: Store, kind: str) -> bool:
    keys = {"hold": "t1", "station": "s1", "drum": "d1", "item": "ipa"}
    found = state(store, kind, keys[kind])
    if kind == "drum":
        return bool(found.is_quarantined)
    if kind == "item":
        return bool(found.lot("A").held)
    return bool(found.hold.is_held if kind == "station" else found.is_held)


CASES: list[tuple[str, Entry, Entry]] = [
    ("hold", TankReleased(at=AHEAD, tank="t1", **SAID),
     TankHeld(at=SOON, tank="t1", cause="lead", **HELD)),
    ("hold", TankReleased(at=AHEAD, tank="t1", **SAID),
     Incident(at=SOON, incident="i1", problem="leak", tank="t1", by="Wren")),
    ("hold", TankReleased(at=AHEAD, tank="t1", **SAID),
     Incident(at=SOON, incident="i1", problem="fire", tank="t1", by="Wren")),
    ("station", StationReleased(at=AHEAD, station="s1", **SAID),
     StationHeld(at=SOON, station="s1", cause="lead", **HELD)),
    ("drum", DrumReleased(at=AHEAD, drum="d1", **SAID),
     DrumQuarantined(at=SOON, drum="d1", **HELD)),
    ("drum", DrumReleased(at=AHEAD, drum="d1", **SAID),
     Incident(at=SOON, incident="i1", problem="drum_warm", drum="d1", by="Wren")),
    ("drum", DrumReleased(at=AHEAD, drum="d1", **SAID),
     DrumChecked(at=SOON, drum="d1", is_warm=True, by="Wren")),
    ("item", LotReleased(at=AHEAD, item="ipa", lot="A", **SAID),
     LotHeld(at=SOON, item="ipa", lot="A", standing="quarantined", **HELD)),
]  # fmt: skip
FIRST: dict[str, Entry] = {
    "hold": TankHeld(at=NOW - timedelta(hours=1), tank="t1", cause="lead", **HELD),
    "station": StationHeld(at=NOW - timedelta(hours=1), station="s1", cause="lead", **HELD),
    "drum": DrumQuarantined(at=NOW - timedelta(hours=1), drum="d1", **HELD),
    "item": LotHeld(
        at=NOW - timedelta(hours=1), item="ipa", lot="A", standing="quarantined", **HELD
    ),
}
DOORS: dict[str, Callable[[Store, Entry], object]] = {
    "page or program": lambda store, entry: enter(store, ROOM, [entry], NOW, confirmed=NAMES),
    "a log brought in": lambda store, entry: bring_in(store, ROOM, [entry], NOW),
    "a file": lambda store, entry: store_in_slices(
        store, ROOM, [replace(entry, id="line-1")], Origin(), lambda: NOW
    ),
}


@pytest.mark.parametrize("by", DOORS)
@pytest.mark.parametrize("case", CASES, ids=range(len(CASES)))
def test_a_release_by_a_fast_clock_covers_nothing_entered_afterwards(
    store: Store, case: tuple[str, Entry, Entry], by: str
) -> None:
    kind, released, held = case
    if by != "a file":  # which lifts nothing, and here comes before any hold
        bring_in(store, ROOM, [FIRST[kind]], NOW)
    DOORS[by](store, released)
    if by != "a file":
        assert not is_held(store, kind)
    enter(store, ROOM, [held], SOON, confirmed=NAMES)
    assert is_held(store, kind)


def test_what_is_washed_after_that_leak_is_refused(store: Store) -> None:
    enter(store, ROOM, [FIRST["hold"]], NOW)
    enter(store, ROOM, [TankReleased(at=AHEAD, tank="t1", **SAID)], NOW)
    enter(store, ROOM, [Incident(at=SOON, incident="i1", problem="leak", tank="t1", by="Wren")],
          SOON, confirmed=NAMES)  # fmt: skip
    with pytest.raises(FieldErrors):
        enter(store, ROOM, [replace(wash(0.0), at=SOON)], SOON, confirmed=NAMES)


def test_a_guard_in_order_by_a_fast_clock_covers_no_fault_entered_next(store: Store) -> None:
    done = DutyDone(at=AHEAD, duty="spill_kit", outcome="done", by="Wren")
    fault = replace(done, at=SOON, outcome="fault", note="Empty")
    enter(store, ROOM, [done], NOW, confirmed=NAMES)
    enter(store, ROOM, [fault], SOON, confirmed=NAMES)
    with Session(store.reader) as session:
        rows = rows_of(session, find_room(session, ROOM).id or 0, "duty", "spill_kit")
        last = entry_of(rows[-1])
    assert isinstance(last, DutyDone)
    assert (last.outcome, last.at) == ("fault", SOON)


@pytest.mark.parametrize("kind", sorted({*LETS_GO, *OTHERS}))
def test_each_kind_that_lets_something_go_is_never_ahead(kind: str) -> None:
    assert KINDS[kind] in NEVER_AHEAD


def test_what_is_guarded_as_safety_is_never_ahead() -> None:
    assert {one.kind for one in GUARDS} - {one.kind for one in NEVER_AHEAD} == {"price_list"}


def test_only_what_a_fast_clock_explains_is_moved() -> None:
    closed = IncidentClosed(at=AHEAD, incident="i1", lead="Curlew", reason="A hose")
    assert not_ahead(closed, NOW).at == NOW
    late = replace(closed, at=NOW - timedelta(days=1))
    assert not_ahead(late, NOW) is late
    far = replace(closed, at=NOW + CLOCK_TOLERANCE + timedelta(seconds=1))
    assert not_ahead(far, NOW) is far  # it does not fit
    assert not_ahead(wash(0.0), NOW - timedelta(minutes=1)).at == NOW
    said = TankContents(at=AHEAD, swap="w1", tank="t1", found="empty")
    assert not_ahead(said, NOW).at == NOW
