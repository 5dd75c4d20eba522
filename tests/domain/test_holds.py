"""Tanks that are held, and released by a lead."""

from datetime import UTC, datetime, timedelta

from app.domain.curing.book import STATION_BOOK
from app.domain.holds import ASKS, CONTENTS, GUARD, HOLD_BOOK, Hold, HoldState, hold_after
from app.domain.roomlog.kinds import Removal, SwapAbandoned
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.duties import DutyDone
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


def test_all_that_is_known_of_a_hold_is_kept_until_the_release() -> None:
    first = TankHeld(at=AT, tank="t1", reason="Leak", cause="incident", by="Wren", incident="i1")
    second = TankHeld(
        at=AT + timedelta(hours=1), tank="t1", reason="Seal", cause="inspection", by="Heron",
        inspection="n7",
    )  # fmt: skip
    state = fold(HOLD_BOOK, "t1", [first, second])
    assert state == HoldState(
        "t1", True, "Leak", "incident", AT, "i1",
        (Hold("Leak", "incident", AT, "Wren", "i1", ""),
         Hold("Seal", "inspection", AT + timedelta(hours=1), "Heron", "", "n7")),
    )  # fmt: skip
    assert state.is_for_a_lead
    assert not state.asks_contents
    release = TankReleased(at=AT + timedelta(hours=3), tank="t1", lead="Curlew", reason="Dry")
    assert fold(HOLD_BOOK, "t1", [first, second, release]) == HoldState(
        "t1", released_at=release.at, released_by="Curlew", release_reason="Dry"
    )


def _given_up(hours: float) -> SwapAbandoned:
    at = AT + timedelta(hours=hours)
    return SwapAbandoned(at=at, by="Wren", tank="t1", swap="s1", asks_contents=True)


def _contents(hours: float, found: str, left_l: float | None = None) -> TankContents:
    at = AT + timedelta(hours=hours)
    return TankContents(at=at, by="Heron", tank="t1", swap="s1", found=found, left_l=left_l)


def test_a_tank_whose_swap_was_given_up_waits_for_its_contents_and_the_answer_frees_it() -> None:
    asked = fold(HOLD_BOOK, "t1", [_given_up(0)])
    assert asked == HoldState(
        "t1", True, ASKS, CONTENTS, AT, "", (Hold(ASKS, CONTENTS, AT, "Wren"),),
        given_up="s1", given_up_at=AT,
    )  # fmt: skip
    assert asked.asks_contents
    assert not asked.is_for_a_lead
    for answer in (
        _contents(1, "as_before"),
        _contents(1, "partly", 12.0),
        Removal(at=AT + timedelta(hours=1), tank="t1", volume_l=28.0, left_l=12.0, swap="s1"),
    ):
        assert not fold(HOLD_BOOK, "t1", [_given_up(0), answer]).is_held
    again = fold(HOLD_BOOK, "t1", [_given_up(0), _contents(2, "asked")])
    assert again.holds == (Hold(ASKS, CONTENTS, AT + timedelta(hours=2), "Heron"),)


def test_neither_a_release_nor_an_answer_settles_what_the_other_is_for() -> None:
    release = TankReleased(at=AT + timedelta(hours=3), tank="t1", lead="Curlew", reason="Dry")
    released = fold(HOLD_BOOK, "t1", [held(0), _given_up(1), release])
    assert (released.is_held, released.cause, released.released_by) == (True, CONTENTS, "Curlew")
    answered = fold(HOLD_BOOK, "t1", [held(0), _given_up(1), _contents(2, "as_before")])
    assert (answered.is_held, answered.reason, answered.is_for_a_lead) == (True, "Leak", True)


def test_what_was_done_before_the_hold_may_still_be_entered() -> None:
    state = fold(HOLD_BOOK, "t1", [held(0)])
    assert state.is_held_at(AT)
    assert not state.is_held_at(AT - timedelta(seconds=1))
    assert not HoldState("t1").is_held_at(AT)


def _interlock(outcome: str, duty: str = "interlock", note: str = "") -> DutyDone:
    return DutyDone(at=AT, by="Wren", duty=duty, of="s1", outcome=outcome, note=note)


def test_a_guard_found_faulty_holds_its_station_and_says_who_found_it() -> None:
    found = hold_after(HoldState(), _interlock("fault", note="Lamps burn with the door open"))
    assert found.holds == (Hold("Lamps burn with the door open", GUARD, AT, "Wren"),)
    assert found.is_held
    assert found.is_for_a_lead
    silent = hold_after(found, _interlock("fault"))
    assert silent.holds == (*found.holds, Hold("Interlock not in order", GUARD, AT, "Wren"))


def test_a_duty_done_in_order_or_of_no_guard_holds_nothing() -> None:
    for done in (_interlock("in_order"), _interlock("fault", duty="eyewash", note="Dry")):
        assert hold_after(HoldState(), done) == HoldState()
    (faulty,) = hold_after(HoldState(), _interlock("fault")).holds
    held_once = hold_after(HoldState(), _interlock("fault"))
    assert hold_after(held_once, _interlock("in_order")).holds == (faulty,)


def test_what_says_nothing_of_the_contents_does_not_answer_for_them() -> None:
    asked = fold(HOLD_BOOK, "t1", [_given_up(0)])
    started = Station(
        at=AT, station="s1", name="Lamp House", source="led", wavelength_nm=405, layout="centre"
    )
    assert hold_after(asked, started) == asked
