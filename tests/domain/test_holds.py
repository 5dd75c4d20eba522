"""Tanks that are held, and released by a lead."""

from datetime import UTC, datetime, timedelta

from app.domain.curing.stations import STATION_BOOK
from app.domain.holds import HOLD_BOOK, HoldState
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.incidents import (
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.things import fold

AT = datetime(2026, 3, 2, 7, 0, tzinfo=UTC)


def held(hours: float, reason: str = "Leak", **more: str) -> TankHeld:
    at = AT + timedelta(hours=hours)
    return TankHeld(at=at, tank="t1", reason=reason, **({"cause": "incident"} | more))


def test_a_held_tank_says_why_and_since_when() -> None:
    state = fold(HOLD_BOOK, "t1", [held(0, incident="i1"), held(2, "Seal", cause="inspection")])
    assert isinstance(state, HoldState)
    assert (state.is_held, state.reason, state.cause, state.since_at, state.incident) == (
        True, "Leak", "incident", AT, "i1",
    )  # fmt: skip
    assert [hold.reason for hold in state.holds] == ["Leak", "Seal"]
    assert HOLD_BOOK.is_open(state)


def test_a_release_settles_all_that_held_it() -> None:
    release = TankReleased(at=AT + timedelta(hours=3), tank="t1", lead="Curlew", reason="Dry again")
    state = fold(HOLD_BOOK, "t1", [held(0), held(1, "Seal"), release])
    assert not state.is_held
    assert state.holds == ()
    assert (state.released_by, state.release_reason) == ("Curlew", "Dry again")
    assert not HOLD_BOOK.is_open(state)
    again = fold(HOLD_BOOK, "t1", [held(0), release, held(5, "Drips again")])
    assert again.reason == "Drips again"


def test_a_station_is_held_in_its_own_state_until_it_is_released() -> None:
    start = Station(
        at=AT, station="s1", name="Lamp House", source="led", wavelength_nm=405, layout="centre"
    )
    shut = StationHeld(at=AT + timedelta(hours=1), station="s1", reason="Door", cause="inspection")
    state = fold(STATION_BOOK, "s1", [start, shut])
    assert (state.hold.is_held, state.hold.reason) == (True, "Door")
    assert not state.hold.is_held_at(AT + timedelta(minutes=59))
    assert state.hold.is_held_at(AT + timedelta(hours=1))
    free = StationReleased(
        at=AT + timedelta(hours=2), station="s1", lead="Curlew", reason="Switch replaced"
    )
    state = fold(STATION_BOOK, "s1", [start, shut, free])
    assert (state.hold.is_held, state.hold.released_by) == (False, "Curlew")
