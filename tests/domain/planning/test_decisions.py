"""Decisions about the day of a swap, folded in their order."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from app.domain.planning.decisions import PLAN_BOOK, PlanState
from app.domain.roomlog.kinds import Wash
from app.domain.roomlog.kinds.planning import (
    PlanEntry,
    SwapMoved,
    SwapPinned,
    SwapPostponed,
    SwapReleased,
)
from app.domain.things import fold

AT = datetime(2026, 3, 2, 7, 40, tzinfo=UTC)
TUE, FRI = date(2026, 3, 3), date(2026, 3, 6)


def folded(*entries: PlanEntry) -> PlanState:
    state = fold(PLAN_BOOK, "alder", entries)
    assert isinstance(state, PlanState)
    return state


def test_a_swap_nobody_decided_about_is_free() -> None:
    assert folded().mode == "free"
    assert not PLAN_BOOK.is_open(folded())


def test_the_last_decision_stands() -> None:
    pinned = SwapPinned(at=AT, id="a", tank="alder", planned_on=TUE, by="Curlew")
    moved = SwapMoved(
        at=AT, id="b", tank="alder", from_on=TUE, planned_on=FRI, reason="Pickup late", by="Curlew"
    )
    state = folded(pinned, moved)
    assert (state.mode, state.on_day, state.reason) == ("pinned", FRI, "Pickup late")
    assert (state.by, state.entry) == ("Curlew", "b")


def test_a_swap_put_off_keeps_its_first_possible_day() -> None:
    state = folded(SwapPostponed(at=AT, tank="alder", not_before_on=FRI, reason="No drum"))
    assert (state.mode, state.on_day) == ("postponed", FRI)


def test_a_released_swap_is_free_again() -> None:
    pinned = SwapPinned(at=AT, tank="alder", planned_on=TUE)
    state = folded(pinned, SwapReleased(at=AT, tank="alder"))
    assert (state.mode, state.on_day) == ("free", None)


def test_a_decision_ends_with_the_swap_it_was_about() -> None:
    state = folded(SwapPinned(at=AT, tank="alder", planned_on=TUE))
    assert state.stands_at(AT - timedelta(days=9))
    assert not state.stands_at(AT + timedelta(days=1))
    assert not replace(state, mode="free").stands_at(AT - timedelta(days=9))


def test_a_swap_is_not_moved_to_the_day_it_stands_on() -> None:
    entry = SwapMoved(at=AT, tank="alder", from_on=TUE, planned_on=TUE, reason="?")
    assert [error.field for error in entry.problems()] == ["planned_on"]


def test_a_decision_is_kept_with_who_when_and_why() -> None:
    put_off = SwapPostponed(
        at=AT, id="c", tank="alder", not_before_on=FRI, reason="No drum", by="Wren"
    )
    assert folded(put_off) == PlanState("alder", "postponed", FRI, AT, "Wren", "No drum", "c")
    assert PLAN_BOOK.is_open(folded(put_off))
    later = AT + timedelta(hours=1)
    free = folded(put_off, SwapReleased(at=later, id="d", tank="alder", by="Curlew"))
    assert free == PlanState("alder", "free", None, later, "Curlew", "", "d")
    pinned = folded(SwapPinned(at=AT, id="e", tank="alder", planned_on=TUE, by="Curlew"))
    assert pinned == PlanState("alder", "pinned", TUE, AT, "Curlew", "", "e")
    stray = Wash(at=AT, tank="alder", resin="slate", parts=3)
    assert PLAN_BOOK.apply(pinned, stray) is pinned


def test_a_decision_made_as_the_bath_was_filled_is_about_it() -> None:
    state = folded(SwapPinned(at=AT, tank="alder", planned_on=TUE))
    assert state.stands_at(AT)
    assert not state.stands_at(AT + timedelta(seconds=1))
    assert not replace(state, decided_at=None).stands_at(AT)
