"""The reject rate by saturation band, its interval against a reference library."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.baths.rejects import FALSE_RISE_CHANCE, fisher_chance, reject_rate, wilson_interval
from app.domain.errors import FieldError
from tests.oracles import Ask


@pytest.mark.oracle
@given(st.integers(1, 5000).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_the_interval_is_that_of_the_reference_library(counts: tuple[int, int]) -> None:
    """Source: statsmodels, proportion_confint(method='wilson')."""
    from statsmodels.stats.proportion import proportion_confint

    rejects, washes = counts
    low, high = proportion_confint(rejects, washes, alpha=0.10, method="wilson")
    assert wilson_interval(rejects, washes) == pytest.approx((low, high), abs=1e-9)


@pytest.mark.parametrize(
    "rejects, washes",
    [(0, 1), (1, 1), (0, 30), (1, 30), (7, 20), (50, 100), (99, 100), (3, 250), (0, 5000),
     (1234, 5000), (5000, 5000)],
)  # fmt: skip
def test_the_interval_is_the_one_that_the_reference_library_gave(
    rejects: int, washes: int, ask: Ask
) -> None:
    wilson = "statsmodels.stats.proportion.proportion_confint"
    expected = ask(wilson, rejects, washes, 0.10, "wilson")
    assert wilson_interval(rejects, washes) == pytest.approx(tuple(expected), abs=1e-9)


def test_more_successes_than_trials_are_refused() -> None:
    with pytest.raises(FieldError):
        wilson_interval(3, 2)


def test_thirty_washes_without_rejects_are_not_enough_to_say_anything() -> None:
    rate = reject_rate({0: 20, 1: 10}, {})
    assert rate.verdict == "too_few"
    assert rate.rises_at_percent is None
    assert [band.rate for band in rate.bands] == [0.0, 0.0]


def test_a_rise_is_named_by_the_band_where_it_begins() -> None:
    rate = reject_rate({0: 200, 1: 200, 2: 200, 3: 100}, {0: 2, 1: 3, 2: 2, 3: 20})
    assert rate.verdict == "rise"
    assert rate.rises_at_percent == 6.0


def test_an_even_rate_is_no_rise() -> None:
    assert reject_rate({0: 200, 1: 200}, {0: 5, 1: 6}).verdict == "no_rise"


def test_a_band_that_was_never_washed_in_knows_nothing() -> None:
    band = reject_rate({2: 5}, {}).bands[0]
    assert (band.washes, band.rate, band.low_rate, band.high_rate) == (0, None, 0.0, 1.0)


def test_a_reject_without_its_wash_counts_as_a_wash() -> None:
    band = reject_rate({}, {0: 2}).bands[0]
    assert (band.washes, band.rejects, band.rate) == (2, 2, 1.0)


def test_an_empty_room_has_no_bands() -> None:
    assert reject_rate({}, {}).bands == ()


@pytest.mark.parametrize(
    "seen, above, rejects, washes",
    [(1, 12, 1, 12), (3, 12, 4, 60), (0, 5, 3, 40), (8, 10, 10, 100)],
)
def test_the_chance_of_a_cut_is_counted_out(
    seen: int, above: int, rejects: int, washes: int
) -> None:
    """Fisher's exact test by its definition (1935): all draws counted in whole numbers."""
    draws = sum(
        math.comb(rejects, k) * math.comb(washes - rejects, above - k)
        for k in range(seen, min(rejects, above) + 1)
    )
    expected = draws / math.comb(washes, above)
    assert fisher_chance(seen, above, rejects, washes) == pytest.approx(expected, abs=1e-12)


@pytest.mark.oracle
@given(st.integers(1, 400), st.data())
def test_the_chance_of_a_cut_is_that_of_the_reference_library(washes: int, data: object) -> None:
    """Source: scipy.stats.hypergeom, survival function."""
    from scipy.stats import hypergeom

    draw = data.draw  # type: ignore[attr-defined]
    rejects, above = draw(st.integers(0, washes)), draw(st.integers(0, washes))
    seen = draw(st.integers(0, min(rejects, above)))
    expected = hypergeom.sf(seen - 1, washes, rejects, above)
    assert fisher_chance(seen, above, rejects, washes) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("rate", [0.01, 0.03, 0.10])
@pytest.mark.parametrize("washes", [(60, 60, 60, 60, 12), (200, 150, 120, 60, 12)])
def test_an_even_rate_is_called_a_rise_less_often_than_stated(
    rate: float, washes: tuple[int, ...]
) -> None:
    # 600 rooms with the same rate in every band.
    rng = np.random.default_rng(3)
    counts = rng.binomial(washes, rate, (600, len(washes)))
    found = [
        reject_rate(dict(enumerate(washes)), dict(enumerate(row))).verdict == "rise"
        for row in counts.tolist()
    ]
    assert np.mean(found) < FALSE_RISE_CHANCE + 0.01


def test_a_look_every_week_of_a_year_stays_below_a_false_rise_in_twenty() -> None:
    # 200 rooms with an even rate of 4 %, 20 washes a week over five bands, looked at weekly.
    rng, rooms, false = np.random.default_rng(5), 200, 0
    for _ in range(rooms):
        washes, rejects = np.zeros(5, int), np.zeros(5, int)
        for _week in range(52):
            week = rng.multinomial(20, [0.25, 0.25, 0.2, 0.2, 0.1])
            washes, rejects = washes + week, rejects + rng.binomial(week, 0.04)
            rate = reject_rate(dict(enumerate(washes.tolist())), dict(enumerate(rejects.tolist())))
            if rate.verdict == "rise":
                false += 1
                break
    assert false / rooms < 0.05


def test_one_reject_in_twelve_washes_tells_nothing_yet() -> None:
    assert reject_rate({0: 12}, {0: 1}).verdict == "too_few"
    assert reject_rate({0: 100, 1: 100, 2: 12}, {2: 1}).verdict == "too_few"
    assert reject_rate({0: 100, 1: 100, 2: 12}, {0: 2, 1: 2, 2: 1}).verdict == "no_rise"


def test_a_rate_that_trebles_is_found() -> None:
    rng = np.random.default_rng(4)
    found = [
        reject_rate(
            {0: 150, 1: 150, 2: 150, 3: 150},
            dict(enumerate(rng.binomial(150, [0.03, 0.03, 0.03, 0.12]).tolist())),
        ).rises_at_percent
        for _ in range(100)
    ]
    assert np.mean([at == 6.0 for at in found]) > 0.6
