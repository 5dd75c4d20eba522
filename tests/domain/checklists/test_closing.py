"""The balance of a swap, worked by hand."""

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest

from app.domain.checklists.closing import as_poured_now, most_held_l, reconcile
from app.domain.checklists.litres import Balance
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import SwapClosed
from app.domain.roomlog.kinds.waste import Pour
from tests.domain.checklists.swaps import START, done, opened, swap


def test_what_is_neither_drained_nor_left_is_lost() -> None:
    """38.0 estimated - 36.5 drained - 0.8 seen in the tank = 0.7 lost; 36.5 + 2 in the drum."""
    state = swap(
        opened(), done("drain", drained_l=36.5, heel_l=0.8), done("rinse", rinse_l=2.0),
        done("fill", filled_l=38.5),
    )  # fmt: skip
    found = reconcile(state, heel_percent=2, tolerance_percent=5)
    assert found.balance.loss_l == pytest.approx(0.7)
    assert found.in_drum_l == pytest.approx(38.5)
    assert found.after_l == pytest.approx(39.3)
    assert found.heel_is_seen
    assert not found.needs_note


def test_a_tank_that_nobody_looked_into_keeps_the_usual_heel() -> None:
    """2 % of 40 L is 0.8 L, and no more than what was not drained."""
    state = swap(opened(), done("drain", drained_l=36.5))
    assert reconcile(state, 2, 5).balance.heel_l == pytest.approx(0.8)
    state = swap(opened(), done("drain", drained_l=37.9))
    assert reconcile(state, 2, 5).balance.heel_l == pytest.approx(0.1)
    state = swap(opened(), done("drain", drained_l=39.0))
    assert reconcile(state, 2, 5).balance.heel_l == 0


@pytest.mark.parametrize(
    "drained_l, asks", [(35.2, False), (35.1, True), (40.0, False), (40.1, True)]
)
def test_a_difference_past_the_tolerance_asks_for_a_note_either_way(
    drained_l: float, asks: bool
) -> None:
    """5 % of 40 L is 2 L; with 0.8 L left of the 38 L: 35.2 to 40 L."""
    state = swap(opened(), done("drain", drained_l=drained_l))
    assert reconcile(state, 2, 5).needs_note is asks


def test_a_pair_accounts_for_both_baths() -> None:
    """Dirty 38 - 37.2 - 0.8 = 0; clean 39 - 38 - 0.8 = 0.2; the clean tank then holds 0.8 + 39."""
    state = swap(
        opened(from_tank="t2", from_estimated_l=39.0, from_capacity_l=40.0),
        done("drain", drained_l=37.2), done("move_clean", moved_l=38.0),
        done("fill", filled_l=39.0),
    )  # fmt: skip
    found = reconcile(state, 2, 5)
    assert found.balance.loss_l == pytest.approx(0.2)
    assert found.balance.moved_l == pytest.approx(38.0)
    assert found.after_l == pytest.approx(39.8)


def test_a_bath_never_held_more_than_its_upper_mark_or_its_estimate() -> None:
    assert most_held_l(38, 40, 5) == pytest.approx(42)
    assert most_held_l(41, 40, 5) == pytest.approx(43.05)


def pour(uid: str, litres: float, **more: Any) -> Pour:
    return Pour(
        at=START + timedelta(minutes=10), id=uid, drum="d1", tank="t1", swap="s1", volume_l=litres,
        **more,
    )  # fmt: skip


def completed(*pours: Pour) -> Balance | None:
    """38.0 L estimated, 36.5 drained, 2.0 rinsed, 0.8 left, 0.7 lost; then pours as they are."""
    closed = SwapClosed(
        at=START + timedelta(hours=1), id="c1", swap="s1", tank="t1", estimated_l=38.0,
        drained_l=36.5, rinsed_l=2.0, heel_l=0.8, filled_l=38.5, loss_l=0.7,
    )  # fmt: skip
    ticks: list[Entry] = [
        replace(done("drain", drained_l=36.5, heel_l=0.8), wrote=["p1"]),
        replace(done("rinse", 12, rinse_l=2.0), wrote=["p2", "u2"]),
    ]
    return as_poured_now(swap(opened(), *ticks, *pours, closed))


BATH, RINSE = pour("p1", 36.5, resin_percent=9.0), pour("p2", 2.0)


def test_a_completed_swap_has_its_pours_as_they_were_made() -> None:
    found = completed(BATH, RINSE)
    assert found is not None
    assert (found.drained_l, found.rinsed_l, found.loss_l) == (36.5, 2.0, 0.7)


@pytest.mark.parametrize(
    "pours, drained_l, rinsed_l, loss_l",
    [
        ([pour("p9", 35.0, corrects="p1", resin_percent=9.0), RINSE], 35.0, 2.0, 2.2),
        ([BATH, pour("p9", 1.5, corrects="p2")], 36.5, 1.5, 0.7),
        ([BATH, pour("p10", 1.2, corrects="p9")], 36.5, 1.2, 0.7),
        ([pour("p9", 35.0, corrects="p8", resin_percent=9.0), RINSE], 35.0, 2.0, 2.2),
        ([pour("p9", 35.0, corrects="p8"), RINSE], 35.0, 2.0, 2.2),
        ([BATH, RINSE, pour("late", 0.4)], 36.9, 2.0, 0.3),
        ([BATH], 36.5, 0.0, 0.7),
    ],
    ids=[
        "bath corrected",
        "rinse corrected",
        "rinse twice",
        "bath twice",
        "bath without resin",
        "told late",
        "rinse taken back",
    ],
)
def test_what_changed_of_a_completed_swap_s_pours_is_lost_or_found(
    pours: list[Pour], drained_l: float, rinsed_l: float, loss_l: float
) -> None:
    """Of the bath; a rinse comes off the shelf and goes into the drum."""
    found = completed(*pours)
    assert found is not None
    assert (found.drained_l, found.rinsed_l, found.loss_l) == (drained_l, rinsed_l, loss_l)
    assert (found.estimated_l, found.heel_l, found.filled_l) == (38.0, 0.8, 38.5)


def test_a_swap_under_way_has_no_balance_and_one_without_pours_keeps_its_own() -> None:
    assert as_poured_now(swap(opened(), done("drain", drained_l=36.5))) is None
    closed = SwapClosed(
        at=START + timedelta(hours=1), id="c1", swap="s1", tank="t1", estimated_l=38.0,
        drained_l=36.5, rinsed_l=2.0, heel_l=0.8, filled_l=38.5, loss_l=0.7,
    )  # fmt: skip
    state = swap(opened(), done("drain", drained_l=36.5), closed)
    assert as_poured_now(state) == state.balance
