"""The balance of a swap, worked by hand."""

import pytest

from app.domain.checklists.closing import most_held_l, reconcile
from tests.domain.checklists.swaps import done, opened, swap


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
