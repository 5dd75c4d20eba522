"""Levels of forecasts against what came: the mixture by a library, coverage by counting."""

from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.baths.recalibration import (
    LEAST_Z,
    MOST_SHIFT,
    MOST_Z,
    NOMINAL,
    PRIOR_FILLS,
    Z_90,
    Case,
    Levels,
    levels_of,
)
from tests.oracles import Ask

NORMAL = NormalDist()


def case(z: float, sd: float = 0.15, weight: float = 1.0) -> Case:
    """An outcome on the scale of a standard normal forecast."""
    return Case(-Z_90, 0.0, Z_90, z, sd, weight)


def coverage(levels: Levels, truth: NormalDist) -> float:
    """Share of the outcomes that come between the early and the late day."""
    return truth.cdf(NORMAL.inv_cdf(levels.high)) - truth.cdf(NORMAL.inv_cdf(levels.low))


def test_the_scale_is_that_of_the_normal_distribution() -> None:
    """Source: 90 % quantile of the standard normal, 1.2816 in any table."""
    assert pytest.approx(NORMAL.inv_cdf(0.9), abs=1e-12) == Z_90


def test_without_outcomes_nothing_changes() -> None:
    assert levels_of([]) == NOMINAL
    assert NOMINAL.days == (0.1, 0.5, 0.9)


CASES = {
    "one far above": [[2.5, 0.2, 1.0]],
    "a few to both sides": [[-0.4, 0.3, 1.0], [0.9, 0.1, 0.5], [1.6, 0.4, 0.5], [-1.4, 0.2, 1.0]],
    "all later": [[-0.8, 0.2, 1.0], [-1.1, 0.2, 1.0], [-0.3, 0.2, 1.0], [-1.6, 0.2, 1.0]],
}


@pytest.mark.parametrize("name", CASES)
def test_levels_are_those_of_the_posterior_mean(name: str, ask: Ask) -> None:
    """Source: scipy's root of the mixture's distribution; Ferguson (1973) for the mixture."""
    cases = CASES[name]
    found = levels_of([case(*one) for one in cases])
    for share, level in ((0.1, found.low), (0.5, found.middle), (0.9, found.high)):
        expected = ask("level_of_mixture", PRIOR_FILLS, cases, share)
        assert level == pytest.approx(expected, abs=2e-4)


def test_an_outcome_that_tells_no_more_than_the_forecast_changes_nothing() -> None:
    found = levels_of([case(0.0, sd=1.0)] * 50)
    for name in ("low", "middle", "high"):
        assert getattr(found, name) == pytest.approx(getattr(NOMINAL, name), abs=1e-3)


def test_a_forecast_that_leans_is_judged_on_each_side_by_its_own_width() -> None:
    """Ten of a hundred above the 90 %, ten below the 10 %, half below the middle: as it should."""
    ranks = (np.arange(100) + 0.5) / 100
    z = np.array([NORMAL.inv_cdf(rank) for rank in ranks])
    percent = 8 + np.where(z < 0, 1.0, 3.0) / Z_90 * z
    found = levels_of([Case(7.0, 8.0, 11.0, float(one), 0.02) for one in percent])
    for name in ("low", "middle", "high"):
        assert getattr(found, name) == pytest.approx(getattr(NOMINAL, name), abs=0.006)


@pytest.mark.parametrize(
    "truth", [NormalDist(0, 0.5), NormalDist(0, 2), NormalDist(0.7, 1), NormalDist(-1, 1.5)]
)
def test_what_comes_brings_the_range_towards_eight_of_ten(truth: NormalDist) -> None:
    """Forty fills of a room whose forecasts are too wide, too narrow, early or late."""
    off = []
    for seed in range(12):
        outcomes = np.random.default_rng(seed).normal(truth.mean, truth.stdev, 40)
        found = levels_of([case(float(one)) for one in outcomes])
        off.append(coverage(found, truth) - 0.8)
    before = coverage(NOMINAL, truth) - 0.8
    assert abs(np.mean(off)) < 0.6 * abs(before)


def test_a_sound_forecast_stays_sound() -> None:
    truth = NormalDist(0, 1)
    found = []
    for seed in range(30):
        outcomes = np.random.default_rng(seed).normal(0, 1, 8)
        found.append(coverage(levels_of([case(float(one)) for one in outcomes]), truth))
    assert np.mean(found) == pytest.approx(0.8, abs=0.02)
    assert np.std(found) < 0.06


def test_one_outcome_does_little() -> None:
    found = levels_of([case(4.0)])
    assert NORMAL.inv_cdf(found.high) < 1.4 * Z_90
    assert found.low == pytest.approx(0.1, abs=0.01)


@given(
    st.lists(
        st.tuples(st.floats(-50, 50), st.floats(0, 20), st.floats(0.1, 1)), min_size=1, max_size=40
    )
)
def test_levels_keep_their_order_and_bounds(outcomes: list[tuple[float, float, float]]) -> None:
    found = levels_of([case(*one) for one in outcomes])
    assert 0 < found.least < found.low < found.middle < found.high < found.most < 1
    assert LEAST_Z - 1e-9 <= -NORMAL.inv_cdf(found.low) <= MOST_Z + 1e-9
    assert LEAST_Z - 1e-9 <= NORMAL.inv_cdf(found.high) <= MOST_Z + 1e-9
    assert abs(NORMAL.inv_cdf(found.middle)) <= MOST_SHIFT + 1e-9
    early, middle, late = found.days
    assert early < middle < late


def test_a_forecast_without_width_and_a_truth_without_doubt_are_taken() -> None:
    found = levels_of([Case(5.0, 5.0, 5.0, 5.0, 0.0)])
    assert found.low < found.middle < found.high
