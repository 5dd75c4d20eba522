"""The limit from rejects and money: the curves by a library's quadrature, the rest by hand."""

from collections.abc import Mapping

import numpy as np
import pytest

from app.domain.baths.reject_limit import (
    FEWEST_IN_BAND,
    SURE,
    Curves,
    Economy,
    advise,
    curves,
    limits,
    trial_of,
)
from app.domain.baths.rejects import wilson_interval
from tests.oracles import Ask

ECONOMY = Economy(
    limit_percent=10.0, year_cents=2_000_000, at_low_percent=7.5, low_cents=2_500_000,
    washes=5000, reject_cents=5000, stop_percent=12.0, trial_stop_percent=12.0,
)  # fmt: skip
EVEN = dict.fromkeys(range(10), 300)


def with_rate(*rates: float, washes: int = 300) -> tuple[dict[int, int], dict[int, int]]:
    """Washes and rejects of bands with these rates."""
    bands = range(len(rates))
    return dict.fromkeys(bands, washes), {
        band: round(rate * washes) for band, rate in enumerate(rates)
    }


def mean_rate(found: Curves, percent: float) -> float:
    """Rejects per wash to expect at a saturation."""
    return float(found.weight @ found.rate(percent))


@pytest.mark.parametrize(
    "washes, rejects",
    [([40, 30, 20], [1, 0, 6]), ([60, 50, 40], [2, 1, 2]), ([20, 20, 10], [0, 0, 1])],
)
def test_the_curves_are_weighed_as_quadrature_weighs_them(
    washes: list[int], rejects: list[int], ask: Ask
) -> None:
    """Source: scipy's adaptive quadrature over the same prior and the binomial likelihood."""
    found = curves(dict(enumerate(washes)), dict(enumerate(rejects)))
    starts = [0.0, 1.0, 2.0]
    assert sorted(set(found.from_percent.tolist())) == starts
    rise, *rates = ask("reject_curves", washes, rejects, starts, [0.5, 1.5, 2.5])
    assert found.rise_chance == pytest.approx(rise, abs=0.015)
    for percent, rate in zip((0.5, 1.5, 2.5), rates, strict=True):
        assert mean_rate(found, percent) == pytest.approx(rate, rel=0.03)


def test_no_curve_ever_falls() -> None:
    found = curves(*with_rate(0.05, 0.04, 0.01, 0.0))
    rates = np.array([found.rate(percent) for percent in np.linspace(0, 12, 25)])
    assert (np.diff(rates, axis=0) >= -1e-15).all()
    assert found.weight.sum() == pytest.approx(1.0)


def test_the_mean_over_a_fill_is_that_of_its_saturations() -> None:
    found = curves(*with_rate(0.01, 0.01, 0.02, 0.08))
    whole = found.mean_upto(4.0)
    assert len(whole) == 40
    fine = np.mean([found.rate(percent) for percent in np.linspace(0.0005, 3.9995, 4000)], axis=0)
    assert whole[-1] == pytest.approx(fine, rel=3e-3)


def test_with_no_rejects_at_all_the_rate_is_small_and_hardly_rises() -> None:
    found = curves(EVEN, {})
    assert mean_rate(found, 9.5) < 0.003
    assert found.rise_chance < 0.5


def test_many_rejects_in_full_baths_are_a_rise() -> None:
    washes, rejects = with_rate(*[0.01] * 8, 0.06, 0.10)
    found = curves(washes, rejects)
    assert found.rise_chance > 0.99
    for band in (0, 9):
        low, high = wilson_interval(rejects[band], washes[band])
        assert low < mean_rate(found, band + 0.5) < high


def test_swaps_are_as_frequent_as_the_limit_is_low() -> None:
    """500,000 for a third more swaps: a year's swaps cost 1,500,000 at 10 %."""
    assert ECONOMY.bath_cents(10.0) == 2_000_000
    assert ECONOMY.bath_cents(7.5) == pytest.approx(2_500_000)
    assert ECONOMY.bath_cents(5.0) == pytest.approx(500_000 + 3_000_000)


def test_a_steep_rise_asks_for_a_lower_limit() -> None:
    washes, rejects = with_rate(*[0.01] * 8, 0.07, 0.15)
    found = advise(washes, rejects, ECONOMY)
    assert found.verdict == "change"
    assert 7.0 <= found.best_percent <= 9.0
    assert found.chance >= SURE
    assert found.low_cents < found.saves_cents < found.high_cents
    # By hand: rates as counted, a fill washed in evenly, 5000 washes, 5000 a reject.
    at_10 = 2_000_000 + 5000 * 5000 * (8 * 0.01 + 0.07 + 0.15) / 10
    at_8 = ECONOMY.bath_cents(8.0) + 5000 * 5000 * 0.01
    assert 0.9 * (at_10 - at_8) < found.saves_cents < 1.7 * (at_10 - at_8)


def test_cheap_rejects_are_no_reason_to_swap_more_often() -> None:
    washes, rejects = with_rate(*[0.01] * 8, 0.07, 0.15)
    cheap = Economy(**{**vars(ECONOMY), "reject_cents": 300})
    found = advise(washes, rejects, cheap)
    assert found.verdict == "keep"
    assert found.best_percent == 10.0


def test_an_even_rate_keeps_the_limit() -> None:
    found = advise(*with_rate(*[0.01] * 10, washes=600), ECONOMY)
    assert found.verdict == "keep"
    assert found.best_percent == 10.0


def test_few_rejects_cannot_tell_and_say_how_many_more_would() -> None:
    washes = dict.fromkeys(range(10), 40)
    found = advise(washes, {3: 1, 8: 1, 9: 3}, ECONOMY)
    assert found.verdict == "cannot_tell"
    assert found.more_rejects is not None
    times = 1 + found.more_rejects / 5
    grown: list[Mapping[int, float]] = [
        {band: times * count for band, count in some.items()}
        for some in (washes, {3: 1, 8: 1, 9: 3})
    ]
    assert advise(*grown, ECONOMY).verdict != "cannot_tell"


def test_a_room_without_washes_cannot_tell() -> None:
    found = advise({}, {}, ECONOMY)
    assert (found.verdict, found.more_rejects) == ("cannot_tell", None)


def test_no_limit_is_named_where_hardly_was_washed_nor_near_the_stop() -> None:
    assert limits(EVEN, ECONOMY)[-1] == 10.0
    assert limits({**EVEN, 10: FEWEST_IN_BAND - 1}, ECONOMY)[-1] == 10.0
    assert limits({**EVEN, 10: FEWEST_IN_BAND, 11: 100, 12: 100}, ECONOMY)[-1] == 11.4  # of 12
    assert limits(EVEN, ECONOMY)[0] == 5.0


@pytest.mark.parametrize("stop", [10.5, 11.0, 11.5])
def test_no_trial_comes_near_the_stop(stop: float) -> None:
    near = Economy(**{**vars(ECONOMY), "trial_stop_percent": stop})
    assert trial_of(*with_rate(*[0.01] * 10), near) is None


def test_a_trial_is_as_long_as_it_takes_to_tell() -> None:
    """The interval of a rate as now must lie below the one at which the gain is eaten up."""
    dear = Economy(**{**vars(ECONOMY), "reject_cents": 20_000})
    washes, rejects = with_rate(*[0.01] * 10)
    trial = trial_of(washes, rejects, dear)
    assert trial is not None
    assert trial.until_percent == 11.0
    gain = dear.bath_cents(10.0) - dear.bath_cents(11.0)
    even = 0.01 + gain / (20_000 * 5000 / 11)
    assert wilson_interval(round(0.01 * trial.washes), trial.washes)[1] < even
    shorter = trial.washes - 5
    assert wilson_interval(round(0.01 * shorter), shorter)[1] >= even


def test_false_advice_on_an_even_rate_is_rare() -> None:
    """Sixty rooms whose rate is the same everywhere: a lower limit is asked for in hardly any."""
    asked = 0
    for seed in range(60):
        rng = np.random.default_rng(seed)
        washes = dict.fromkeys(range(10), 60)
        rejects = {band: int(rng.binomial(60, 0.02)) for band in washes}
        found = advise(washes, rejects, ECONOMY)
        asked += found.verdict == "change"
    assert asked <= 3
