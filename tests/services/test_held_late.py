"""A hold that is entered late is lifted by no release that knew nothing of it."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.curing import STATION, Station
from app.domain.roomlog.kinds.incidents import (
    HOLD,
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.roomlog.kinds.instruments import (
    INSTRUMENT,
    InstrumentAdded,
    InstrumentPutBack,
    InstrumentSetAside,
)
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import ITEM, Item, LotHeld, LotReleased, StockReceived
from app.domain.roomlog.kinds.waste import (
    DRUM,
    Drum,
    DrumChecked,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
)
from app.services.door import bring_in, enter
from app.services.following import held_anew
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing
from tests.factories import NOW, ROOM, START, furnish
from tests.furnished import new_store

EARLY, FREED = NOW - timedelta(hours=3), NOW - timedelta(hours=2)
WORD: dict[str, Any] = {"at": FREED, "lead": "Curlew", "reason": "In order", "by": "Curlew"}
HELD: dict[str, Any] = {"at": EARLY, "reason": "It drips", "by": "Wren"}
CASES: dict[str, tuple[Entry, Entry, tuple[str, str]]] = {
    "tank": (TankReleased(tank="t1", **WORD), TankHeld(tank="t1", cause="lead", **HELD),
             (HOLD, "t1")),
    "station": (StationReleased(station="s1", **WORD),
                StationHeld(station="s1", cause="lead", **HELD), (STATION, "s1")),
    "drum": (DrumReleased(drum="d1", **WORD), DrumQuarantined(drum="d1", **HELD), (DRUM, "d1")),
    "warm drum": (DrumReleased(drum="d1", **WORD),
                  DrumChecked(at=EARLY, drum="d1", is_warm=True, by="Wren"), (DRUM, "d1")),
    "lot": (LotReleased(item="ipa", lot="A7", **WORD),
            LotHeld(item="ipa", lot="A7", standing="quarantined", **HELD), (ITEM, "ipa")),
    "instrument": (InstrumentPutBack(at=FREED, instrument="m1", by="Curlew", reason="Clean"),
                   InstrumentSetAside(instrument="m1", **HELD), (INSTRUMENT, "m1")),
}  # fmt: skip


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = new_store(tmp_path)
    furnish(made)
    bring_in(made, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        Station(at=START, station="s1", name="Lamp", source="led", wavelength_nm=405.0,
                layout="centre", new_mw_cm2=20.0),
        Drum(at=START, drum="d1", name="Drum 1", capacity_l=200.0, stream="isopropanol_resin",
             area="wash_station"),
        Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
             solvent="isopropanol"),
        StockReceived(at=START, item="ipa", quantity=40.0, lot="A7"),
        InstrumentAdded(at=START, instrument="m1", name="Sensor 1", sort="sensor"),
    ], NOW)  # fmt: skip
    yield made
    made.close()


def is_held(store: Store, kind: str, key: str) -> bool:
    with Session(store.reader) as session:
        state = thing(session, find_room(session, ROOM).id or 0, kind, key)
    return bool({
        HOLD: lambda: state is not None and state.is_held, STATION: lambda: state.hold.is_held,
        DRUM: lambda: state.is_quarantined, ITEM: lambda: state.lot("A7").held,
        INSTRUMENT: lambda: state.aside_since_at,
    }[kind]())  # fmt: skip


@pytest.mark.parametrize("case", list(CASES))
def test_a_hold_from_before_a_release_that_is_entered_after_it_holds(
    store: Store, case: str
) -> None:
    """A tablet had no connection, or somebody typed when it was seen: the lead knew nothing."""
    free, held, where = CASES[case]
    bring_in(store, ROOM, [free], NOW)
    enter(store, ROOM, [held], NOW)
    assert is_held(store, *where)


@pytest.mark.parametrize("case", list(CASES))
def test_a_hold_of_the_very_minute_of_a_release_that_is_entered_after_it_holds(
    store: Store, case: str
) -> None:
    """Times are typed to the minute: the lead cannot have known what was seen in that minute."""
    free, held, where = CASES[case]
    bring_in(store, ROOM, [free], NOW)
    enter(store, ROOM, [replace(held, at=FREED)], NOW)
    assert is_held(store, *where)


@pytest.mark.parametrize("case", list(CASES))
def test_a_hold_that_its_release_follows_is_over(store: Store, case: str) -> None:
    free, held, where = CASES[case]
    enter(store, ROOM, [held], NOW)
    enter(store, ROOM, [free], NOW)
    assert not is_held(store, *where)


@pytest.mark.parametrize("case", list(CASES))
def test_a_hold_that_was_entered_late_by_mistake_is_taken_back_at_once(
    store: Store, case: str
) -> None:
    """Whoever typed it has their minutes, as for any hold: nothing of it stays behind."""
    free, held, where = CASES[case]
    bring_in(store, ROOM, [free], NOW)
    (uid,) = enter(store, ROOM, [held], NOW).ids
    enter(store, ROOM, [Withdrawal(at=NOW, by=held.by, withdraws=uid)], NOW)
    assert not is_held(store, *where)


def test_what_somebody_else_holds_at_the_same_instant_stays(store: Store) -> None:
    free, held, where = CASES["tank"]
    bring_in(store, ROOM, [free], NOW)
    other = replace(held, at=NOW, by="Plover")
    uid, _ = enter(store, ROOM, [held, other], NOW).ids
    enter(store, ROOM, [Withdrawal(at=NOW, by=held.by, withdraws=uid)], NOW)
    assert is_held(store, *where)


def test_a_hold_of_an_id_that_only_looks_alike_stays(store: Store) -> None:
    """It was entered on another day: it is none that the first one holds anew."""
    _, held, where = CASES["tank"]
    early = NOW - timedelta(minutes=5)
    enter(store, ROOM, [replace(held, id="word")], early)
    enter(store, ROOM, [replace(held, at=NOW, id="word.1", by="Plover")], NOW)
    enter(store, ROOM, [Withdrawal(at=NOW, by=held.by, withdraws="word")], NOW)
    assert is_held(store, *where)


def test_what_is_held_anew_takes_no_id_of_another_entry_and_a_correction_holds_nothing_anew(
    store: Store,
) -> None:
    free, held, _ = CASES["tank"]
    bring_in(store, ROOM, [free], NOW)
    with Session(store.reader) as session:
        room_id = find_room(session, ROOM).id or 0
        for uid, taken, found in [
            ("word", (), "word.1"), ("word", ("word.1",), ""), ("w" * 62, (), f"{'w' * 62}.1"),
            ("w" * 63, (), ""),
        ]:  # fmt: skip
            (anew,) = held_anew(session, room_id, replace(held, id=uid), NOW, taken)
            assert anew.id == found
        assert held_anew(session, room_id, replace(held, id="b", corrects="a"), NOW) == []


def test_a_release_of_another_lot_is_none_of_the_one_that_is_held_late(store: Store) -> None:
    free, held, _ = CASES["lot"]
    assert isinstance(free, LotReleased)
    bring_in(store, ROOM, [replace(free, lot="B2")], NOW)
    with Session(store.reader) as session:
        assert held_anew(session, find_room(session, ROOM).id or 0, held, NOW) == []


def _other_drum() -> Drum:
    return Drum(at=START, drum="d2", name="Drum 2", capacity_l=200.0, volume_l=50.0,
                stream="isopropanol_resin", area="wash_station")  # fmt: skip


def test_what_was_moved_out_of_a_quarantine_is_freed_by_no_release_from_before_it_was_told(
    store: Store,
) -> None:
    free = DrumReleased(drum="d1", **WORD)
    shut = DrumQuarantined(at=EARLY, drum="d2", reason="Odd smell", by="Wren")
    bring_in(store, ROOM, [_other_drum(), shut, free], NOW)
    move = DrumTransfer(at=EARLY + timedelta(minutes=1), drum="d1", from_drum="d2", volume_l=10.0,
                        waste_kg=8.0, by="Wren")  # fmt: skip
    enter(store, ROOM, [move], NOW)
    assert is_held(store, DRUM, "d1")


@pytest.mark.parametrize(
    "drum, minutes, is_shut",
    [("d2", -1, True), ("d2", 0, True), ("d2", 1, False), ("d3", -1, False)],
)
def test_a_quarantine_that_is_told_with_the_move_goes_along(
    store: Store, drum: str, minutes: int, is_shut: bool
) -> None:
    """Of the drum that it was moved out of, and not one of later, when it had left."""
    bring_in(store, ROOM, [_other_drum(), replace(_other_drum(), drum="d3", name="Drum 3")], NOW)
    at = EARLY + timedelta(minutes=minutes)
    shut = DrumQuarantined(at=at, drum=drum, reason="Odd smell", by="Wren")
    move = DrumTransfer(at=EARLY, drum="d1", from_drum="d2", volume_l=10.0, waste_kg=8.0, by="Wren")
    enter(store, ROOM, [shut, move], NOW)
    assert is_held(store, DRUM, "d1") is is_shut
