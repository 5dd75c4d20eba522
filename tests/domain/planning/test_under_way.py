"""What a swap under way still takes, step by step of its list."""

from dataclasses import replace

import pytest

from app.domain.checklists.run import SwapState
from app.domain.planning.needs import SwapNeed
from app.domain.planning.under_way import by_tank, left_of
from app.domain.site import SiteState
from tests.domain.checklists.swaps import done, opened, swap

SITE = SiteState()
NEED = SwapNeed(36.0, 2.8, 1.0, 38.0, 33.0, 2.2)
ALCOHOL_G_ML = 0.785
PAIR = {"from_tank": "t2", "from_estimated_l": 36.0, "from_capacity_l": 50.0, "from_min_l": 40.0}
CLEAN_RINSE_L = SITE.rinse_percent / 100 * 50


def left(state: SwapState, tank: str = "t1") -> SwapNeed:
    return left_of(NEED, tank, state, SITE, ALCOHOL_G_ML)


def test_a_swap_that_has_just_begun_takes_and_leaves_all() -> None:
    found = left(swap(opened()))
    assert (found.rinse_l, found.squirt_l, found.drained_l, found.waste_kg) == (2.8, 1, 38, 33)
    assert found.pair_rinse_l == 0
    # Its list fills to between the marks of 30 and 40 L, on top of the heel of the site.
    heel_l = SITE.heel_percent / 100 * 40
    assert 30 - heel_l <= found.fill_l <= 40 - heel_l
    assert found.fill_l != NEED.fill_l


def test_each_step_that_is_done_takes_its_part_off() -> None:
    drained = left(swap(opened(), done("drain", drained_l=38.0)))
    assert (drained.drained_l, drained.waste_kg, drained.rinse_l) == (0, 2.2, 2.8)
    rinsed = left(swap(opened(), done("rinse", rinse_l=2.0)))
    assert (rinsed.rinse_l, rinsed.rinse_kg, rinsed.drained_l) == (0, 0, 38)
    assert rinsed.fresh_l == pytest.approx(rinsed.fill_l + 1.0)
    filled = left(swap(opened(), done("fill", filled_l=36.0)))
    assert (filled.fill_l, filled.squirt_l, filled.rinse_l) == (0, 0, 2.8)


def test_of_a_pair_the_clean_tank_is_filled_and_the_other_is_drained() -> None:
    state = swap(opened(**PAIR))
    dirty, clean = left(state), left(state, "t2")
    assert (dirty.fill_l, dirty.squirt_l, dirty.drained_l, dirty.rinse_l) == (0, 0, 38, 2.8)
    assert (clean.drained_l, clean.rinse_l, clean.squirt_l) == (0, 2.8, 1)
    assert 40 - 1 <= clean.fill_l <= 50
    # The drum of the swap takes both rinses, and the clean tank's books none.
    assert dirty.pair_rinse_l == pytest.approx(CLEAN_RINSE_L)
    assert dirty.waste_kg == pytest.approx(33 + CLEAN_RINSE_L * ALCOHOL_G_ML)
    assert (clean.pair_rinse_l, clean.waste_l) == (-2.8, 0)


def test_the_rinse_of_a_pair_s_clean_tank_is_taken_off_once_it_is_done() -> None:
    state = swap(opened(**PAIR), done("rinse_clean", rinse_l=3.0))
    assert left(state).pair_rinse_l == 0
    assert left(state).rinse_l == 2.8
    assert (left(state, "t2").rinse_l, left(state, "t2").pair_rinse_l) == (0, 0)
    own = swap(opened(**PAIR), done("rinse", rinse_l=3.0))
    assert (left(own).rinse_l, left(own, "t2").rinse_l) == (0, 2.8)


def test_a_clean_tank_whose_list_has_no_rinse_takes_none() -> None:
    steps = [step for step in opened().steps if step["key"] != "rinse_clean"]
    state = swap(opened(**PAIR, steps=steps))
    assert left(state, "t2").rinse_l == 0
    assert left(state).pair_rinse_l == 0


def test_a_swap_under_way_is_found_by_each_of_its_tanks() -> None:
    pair, over = swap(opened(**PAIR)), replace(swap(opened()), end="closed")
    assert by_tank([pair]) == {"t1": pair, "t2": pair}
    assert by_tank([over, SwapState("s2", tank="t3")]) == {}
