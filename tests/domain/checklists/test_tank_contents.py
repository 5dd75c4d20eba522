"""What stands in the tanks of a swap, worked by hand: 38 L in a tank of 40 L, heel 2 %."""

from datetime import timedelta
from typing import Any

import pytest

from app.domain.checklists.closing import reconcile
from app.domain.checklists.gates import may_flow
from app.domain.checklists.tank_contents import (
    drained_l,
    heel,
    left_in_clean,
    moved_liquid,
    standing,
)
from app.domain.roomlog.kinds import Entry, Removal, Swap, SwapAbandoned
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.waste import Pour
from tests.domain.checklists.swaps import START, done, opened, swap

PAIR = {"from_tank": "t2", "from_estimated_l": 39.0, "from_capacity_l": 40.0}


def pour(uid: str, litres: float, resin: float | None = 9.0, **more: Any) -> Pour:
    return Pour(
        at=START + timedelta(minutes=10), id=uid, drum="d1", tank="t1", swap="s1",
        volume_l=litres, resin_percent=resin, **more,
    )  # fmt: skip


def contents(found: str, minutes: float, tank: str = "t1", **more: Any) -> TankContents:
    at = START + timedelta(minutes=minutes)
    return TankContents(at=at, tank=tank, swap="s1", found=found, **more)


def given_up(minutes: float = 60, tank: str = "t1", **more: Any) -> SwapAbandoned:
    return SwapAbandoned(at=START + timedelta(minutes=minutes), tank=tank, swap="s1", **more)


def litres(*entries: Entry, tank: str = "t1") -> float | None:
    found = standing(swap(*entries), tank, 2)
    return None if found is None else found.litres


def test_until_it_is_drained_the_bath_goes_on_as_estimated() -> None:
    assert litres(opened()) is None
    assert not moved_liquid(swap(opened()))


def test_from_the_drain_on_the_tank_holds_its_heel() -> None:
    """Seen: as it was seen. Else 2 % of 40 L, and no more than 38 - 37.9."""
    assert litres(opened(), done("drain", drained_l=36.5, heel_l=0.3)) == pytest.approx(0.3)
    assert litres(opened(), done("drain", drained_l=36.5)) == pytest.approx(0.8)
    assert litres(opened(), done("drain", drained_l=37.9)) == pytest.approx(0.1)


def test_once_it_is_filled_it_holds_heel_and_fill() -> None:
    state = swap(
        opened(), done("drain", drained_l=36.5, heel_l=0.3), done("fill", 20, filled_l=38.5)
    )
    found = standing(state, "t1", 2)
    assert found is not None
    assert (found.litres, found.stage, found.is_seen) == (pytest.approx(38.8), "filled", True)
    assert found.since_at == START + timedelta(minutes=10)
    assert reconcile(state, 2, 5).after_l == pytest.approx(38.8)


def test_the_pair_s_tanks_hold_what_was_moved_and_what_was_left() -> None:
    """Dirty 0.8 + 38 moved in; clean 39 - 38 = 1, of which 2 % stay at most, then 39 fresh."""
    drained, moved = done("drain", drained_l=37.2), done("move_clean", 20, moved_l=38.0)
    assert litres(opened(**PAIR), drained, tank="t2") is None
    both = [opened(**PAIR), drained, moved]
    assert litres(*both) == pytest.approx(38.8)
    assert litres(*both, tank="t2") == pytest.approx(0.8)
    filled = done("fill", 30, filled_l=39.0)
    assert litres(*both, filled) == pytest.approx(38.8)
    assert litres(*both, filled, tank="t2") == pytest.approx(39.8)


def test_a_pour_that_was_corrected_or_withdrawn_counts_as_it_stands() -> None:
    tick = done("drain", drained_l=36.5)
    tick = type(tick)(**{**vars(tick), "wrote": ["p1"]})
    assert drained_l(swap(opened(), tick, pour("p1", 36.5))) == pytest.approx(36.5)
    corrected = pour("p9", 35.0, corrects="p1")
    assert drained_l(swap(opened(), tick, corrected)) == pytest.approx(35.0)
    assert drained_l(swap(opened(), tick)) == 0


def test_a_rinse_in_the_drum_is_no_bath() -> None:
    drain, rinse = done("drain", drained_l=36.5), done("rinse", 12, rinse_l=2.0)
    drain = type(drain)(**{**vars(drain), "wrote": ["p1"]})
    rinse = type(rinse)(**{**vars(rinse), "wrote": ["p2"]})
    pours = [pour("p1", 36.5), pour("p2", 2.0, resin=None)]
    assert drained_l(swap(opened(), drain, rinse, *pours)) == pytest.approx(36.5)


def test_pours_without_a_tick_leave_the_rest() -> None:
    assert litres(opened(), pour("p1", 30.0)) == pytest.approx(8.0)


def test_what_somebody_says_sets_the_level_and_the_heel_of_the_close() -> None:
    drain = done("drain", drained_l=36.5)
    said = contents("partly", 30, left_l=1.2)
    assert litres(opened(), drain, said) == pytest.approx(1.2)
    state = swap(opened(), drain, said, done("fill", 40, filled_l=38.0))
    assert heel(state, 2).litres == pytest.approx(1.2)  # type: ignore[union-attr]
    found = reconcile(state, 2, 5)
    assert (found.balance.heel_l, found.heel_is_seen) == (pytest.approx(1.2), True)
    assert found.after_l == pytest.approx(39.2)


def test_what_is_said_after_the_fill_is_no_heel() -> None:
    state = swap(
        opened(), done("drain", drained_l=36.5), done("fill", 20, filled_l=38.0),
        contents("partly", 30, left_l=30.0),
    )  # fmt: skip
    assert standing(state, "t1", 2).litres == pytest.approx(30.0)  # type: ignore[union-attr]
    assert reconcile(state, 2, 5).balance.heel_l == pytest.approx(0.8)


def test_empty_is_the_heel_and_as_before_is_the_bath() -> None:
    drain = done("drain", drained_l=36.5, heel_l=0.3)
    assert litres(opened(), drain, contents("empty", 30)) == pytest.approx(0.3)
    assert litres(opened(), drain, contents("as_before", 30)) == pytest.approx(38.0)
    fill = done("fill", 20, filled_l=38.0)
    assert litres(opened(), drain, fill, contents("empty", 30)) == pytest.approx(0.8)
    assert litres(opened(), drain, fill, contents("filled", 30)) == pytest.approx(38.3)


def test_a_swap_that_was_given_up_asks_until_somebody_answers() -> None:
    drain, over = done("drain", drained_l=36.5), given_up(asks_contents=True)
    state = swap(opened(), drain, over)
    assert (state.end, state.asks, state.is_open) == ("abandoned", ("t1",), False)
    assert litres(opened(), drain, over) == pytest.approx(0.8)
    at = START + timedelta(minutes=70)
    gone = Removal(at=at, tank="t1", swap="s1", volume_l=37.2, left_l=0.8)
    for answer in (contents("as_before", 70), gone):
        state = swap(opened(), drain, over, answer)
        assert state.asks == ()
        assert standing(state, "t1", 2) is None


def test_a_swap_that_has_ended_says_by_its_own_entry_what_is_there() -> None:
    drain, ended = done("drain", drained_l=36.5), Swap(at=START, tank="t1", swap="s1")
    assert litres(opened(), drain, ended) is None
    assert litres(opened(), drain, given_up()) is None


def test_a_clean_bath_that_was_moved_away_is_empty() -> None:
    entries = [opened(**PAIR), done("drain", drained_l=37.2), done("move_clean", 20, moved_l=38.9)]
    assert litres(*entries, contents("empty", 30, tank="t2"), tank="t2") == pytest.approx(0.1)
    left = left_in_clean(swap(*entries), 2)
    assert left is not None
    assert left.litres == pytest.approx(0.1)


READY = ("protect", "isolate", "choose_drum", "bond")


def test_a_bath_may_be_flowing_once_all_that_its_drain_waits_for_is_done() -> None:
    ready = [done(key) for key in READY]
    for key in READY:
        rest = [one for one in ready if one.step != key]
        assert may_flow(swap(opened(), *rest), "t1") is None, key
    step = may_flow(swap(opened(), *ready), "t1")
    assert step is not None
    assert step.role == "drain"
    assert may_flow(swap(opened(), *ready), "t2") is None
    assert may_flow(swap(opened(), *ready, done("drain", 20, drained_l=36.5)), "t1") is None


def test_a_question_does_not_stop_a_bath_from_flowing() -> None:
    state = swap(opened(), *(done(key) for key in READY), contents("asked", 20))
    assert state.asks == ("t1",)
    assert may_flow(state, "t1") is not None


def test_of_a_pair_the_clean_bath_may_be_flowing_once_it_may_be_moved() -> None:
    keys = (*READY, "isolate_clean", "inspect", "refit")
    before = [opened(**PAIR), *(done(key) for key in keys)]
    assert may_flow(swap(*before), "t2") is None
    step = may_flow(swap(*before, done("drain", 20, drained_l=36.5)), "t2")
    assert step is not None
    assert step.role == "move"
    moved = done("move_clean", 30, moved_l=38.0)
    assert may_flow(swap(*before, done("drain", 20, drained_l=36.5), moved), "t2") is None


def test_as_before_of_a_bath_that_nothing_moved_leaves_its_estimate_alone() -> None:
    """A word that part of it is gone sets the level, and one that it is not sets it back."""
    assert litres(opened(), contents("as_before", 20)) is None
    part = contents("partly", 20, left_l=16.0)
    assert litres(opened(), part) == pytest.approx(16.0)
    assert litres(opened(), part, contents("as_before", 30)) == pytest.approx(38.0)
