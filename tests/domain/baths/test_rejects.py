"""The reject rate by saturation band, its interval against a reference library."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.baths.rejects import reject_rate, wilson_interval
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
