"""What a swap takes, and the containers it is bought in."""

from dataclasses import replace
from itertools import product
from math import ceil

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.planning.needs import (
    DRUM_SIZES_L,
    US_GALLON_L,
    Bath,
    SwapNeed,
    containers_for,
    into_drum_l,
    smallest_drum_l,
    swap_need,
)
from app.domain.site import SiteState

SITE = SiteState()
ELEVEN_GALLONS = Bath(11 * US_GALLON_L, 11 * US_GALLON_L, None, 13.5, 0.786, 1.10)


def test_a_bath_of_eleven_gallons_wants_twelve_bought_and_a_drum_of_fifteen() -> None:
    # Common practice, no source.
    need = swap_need(ELEVEN_GALLONS, SITE)
    bought = containers_for(need.fresh_l, [5 * US_GALLON_L, US_GALLON_L])
    assert bought.total_l / US_GALLON_L == pytest.approx(12, abs=0.01)
    assert [count for _, count in bought.counts] == [2, 2]
    drum_l = smallest_drum_l(need.waste_l, 90)
    assert drum_l is not None
    assert drum_l / US_GALLON_L == pytest.approx(15)


def test_a_pair_that_shares_a_drum_pours_both_rinses_into_it() -> None:
    need = SwapNeed(fill_l=40, rinse_l=3, squirt_l=0.5, drained_l=39, waste_kg=34, rinse_kg=2.4)
    dirty = need.beside(2.5, 0.8)
    assert (dirty.waste_l, dirty.waste_kg) == (39 + 3 + 2.5, pytest.approx(34 + 2.5 * 0.8))
    assert (dirty.fresh_l, dirty.rinse_kg, dirty.pair_rinse_l) == (43.5, 2.4, 2.5)
    clean = need.beside(-3, 0.8)
    assert (clean.waste_l, clean.waste_kg) == (39, pytest.approx(34 - 2.4))
    half = dirty.times(0.5)
    assert (half.waste_l, half.fresh_l, half.waste_kg) == (22.25, 21.75, dirty.waste_kg / 2)
    assert (half.rinse_kg, half.drained_l, half.pair_rinse_l) == (1.2, 19.5, 1.25)


def test_a_swap_under_way_pours_its_bath_less_the_heel_and_each_rinse() -> None:
    site = replace(SITE, heel_percent=2, rinse_percent=7)
    assert into_drum_l(41, 50, 0, site) == pytest.approx(41 - 1 + 3.5)
    assert into_drum_l(41, 50, 20, site) == pytest.approx(41 - 1 + 3.5 + 1.4)
    assert into_drum_l(0.5, 50, 0, site) == pytest.approx(3.5)  # no more than its heel is in it


def test_a_swap_under_way_takes_only_what_it_has_not_taken_yet() -> None:
    need = swap_need(Bath(41, 42, 34, 10, 0.785, 1.12), SITE)
    fresh = need.left(is_drained=False, is_rinsed=False, is_filled=False)
    assert fresh == need
    drained = need.left(is_drained=True, is_rinsed=False, is_filled=False)
    # The rinse of 2.94 L is left, of solvent of 0.785 g/mL: 2.31 kg.
    assert drained.waste_l == pytest.approx(2.94)
    assert drained.waste_kg == pytest.approx(2.94 * 0.785)
    assert drained.fresh_l == need.fresh_l
    rinsed = need.left(is_drained=True, is_rinsed=True, is_filled=False)
    assert (rinsed.waste_l, rinsed.waste_kg) == (0, 0)
    assert rinsed.fresh_l == pytest.approx(need.fill_l + need.squirt_l)
    assert need.left(is_drained=True, is_rinsed=True, is_filled=True).fresh_l == 0


def test_what_is_filled_lies_between_the_marks_on_top_of_the_heel() -> None:
    need = swap_need(Bath(41, 42, 34, 10, 0.785, 1.12), SITE)
    # Worked by hand: half way between 34 and 42 is 38, the heel is 2 % of 42.
    assert need.fill_l == pytest.approx(38 - 0.84)
    assert need.rinse_l == pytest.approx(2.94)
    assert need.fresh_l == pytest.approx(37.16 + 2.94 + 1)
    assert need.waste_l == pytest.approx(41 - 0.84 + 2.94)


def test_a_bath_low_today_is_drained_as_it_will_be_topped_up() -> None:
    full, low = Bath(40, 40, 30, 9, 0.785, 1.1), Bath(20, 40, 30, 9, 0.785, 1.1)
    assert swap_need(low, SITE).drained_l == pytest.approx(35 - 0.8)
    assert swap_need(low, SITE).waste_l < swap_need(full, SITE).waste_l


def test_waste_weighs_what_an_ideal_mixture_weighs() -> None:
    # 10 % by volume of resin of 1.10 in isopropanol of 0.786 kg/L: 0.9 * 0.786 + 0.1 * 1.10
    # = 0.8174 kg/L, worked by hand; that is 13.46 % by mass.
    site = replace(SITE, rinse_percent=0, heel_percent=0)
    bath = Bath(100, 100, None, 100 * 0.11 / 0.8174, 0.786, 1.10)
    assert swap_need(bath, site).waste_kg == pytest.approx(81.74, abs=0.01)


def test_the_site_sets_the_shares() -> None:
    site = replace(SITE, rinse_percent=20, squirt_bottle_l=2.5, heel_percent=0)
    need = swap_need(Bath(40, 40, None, 10, 0.785, 1.1), site)
    assert (need.rinse_l, need.squirt_l, need.fill_l) == (8, 2.5, 40)


@pytest.mark.parametrize(
    "need_l, counts",
    [
        (41.1, ((18.9, 2), (3.8, 1))),  # 41.6; eleven cans hold 41.8
        (18.9, ((18.9, 1),)),
        (18.91, ((3.8, 5),)),  # 19.0 is less too much than 22.7
        (0.1, ((3.8, 1),)),
    ],
)
def test_containers_leave_the_least_over(
    need_l: float, counts: tuple[tuple[float, int], ...]
) -> None:
    assert containers_for(need_l, [3.8, 18.9]).counts == counts


def test_of_equal_totals_the_fewest_containers_are_bought() -> None:
    assert containers_for(20, [1, 5, 10]).counts == ((10, 2),)


def test_without_sizes_any_amount_is_bought() -> None:
    assert containers_for(41.1, []).total_l == 41.1
    assert containers_for(0, [18.9]).counts == ()


def test_a_need_of_many_drums_comes_mostly_in_the_largest() -> None:
    bought = containers_for(20_000, [205, 18.9])
    assert 20_000 <= bought.total_l < 20_000 + 18.9
    assert dict(bought.counts)[205] >= 90


@given(
    need_ml=st.integers(1, 60_000),
    sizes_ml=st.lists(st.integers(900, 30_000), min_size=1, max_size=3, unique=True),
)
def test_no_other_containers_leave_less_over_or_are_as_good_and_fewer(
    need_ml: int, sizes_ml: list[int]
) -> None:
    found = containers_for(need_ml / 1000, [size / 1000 for size in sizes_ml])
    ranges = [range(ceil(need_ml / size) + 1) for size in sizes_ml]
    totals = [
        (sum(n * size for n, size in zip(counts, sizes_ml, strict=True)), sum(counts))
        for counts in product(*ranges)
    ]
    least_ml = min(total for total, _ in totals if total >= need_ml)
    as_good = [each for each in totals if least_ml <= each[0] <= least_ml + need_ml // 100]
    fewest, total_ml = min((number, total) for total, number in as_good)
    assert sum(number for _, number in found.counts) == fewest
    assert round(found.total_l * 1000) == total_ml


def test_drums_are_chosen_under_their_fill_limit() -> None:
    assert smallest_drum_l(0.9 * DRUM_SIZES_L[1], 90) == DRUM_SIZES_L[1]
    assert smallest_drum_l(0.9 * DRUM_SIZES_L[1] + 0.1, 90) == DRUM_SIZES_L[2]
    assert smallest_drum_l(1000, 90) is None
