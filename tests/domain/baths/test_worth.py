"""What a reading would be worth, against closed forms and against taking readings for true."""

import math
from dataclasses import replace
from datetime import timedelta
from statistics import NormalDist

import numpy as np
import pytest

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.estimator.shown import Shown
from app.domain.baths.forecast import passing_days
from app.domain.baths.forecast.worth import (
    Worth,
    ranges_days,
    readings_of,
    weights_of,
    worth_of_readings,
)
from app.domain.roomlog.kinds import Reading
from tests.domain.baths.rooms import DAY, START, filter_of, residue, set_up, steady_washes, swap

PATHS = 20_000


def normal_paths(sd: float, mean: float = 8.0) -> np.ndarray:
    return mean + sd * np.random.default_rng(5).standard_normal(PATHS)


@pytest.mark.parametrize("sd, noise", [(1.0, 0.2), (0.5, 0.5), (0.4, 1.0)])
def test_weights_are_those_of_bayes(sd: float, noise: float) -> None:
    """Normal prior and reading: the posterior variance is 1/(1/s² + 1/n²), whatever is read.

    Source: Gelman et al., Bayesian Data Analysis, 3rd ed., section 2.5 (from memory).
    """
    percent = normal_paths(sd)
    weights = weights_of(Shown(percent, noise, 0.0, 25.0))
    mean = weights @ percent
    variance = weights @ percent**2 - mean**2
    assert np.median(variance) == pytest.approx(1 / (1 / sd**2 + 1 / noise**2), rel=0.06)
    assert mean.mean() == pytest.approx(8.0, abs=0.05 * sd)
    assert mean.var() == pytest.approx(sd**4 / (sd**2 + noise**2), rel=0.25)


def test_where_the_days_follow_from_the_reading_the_range_shrinks_as_its_sd() -> None:
    """Days are a straight line of the saturation: their range shrinks as the deviation does."""
    sd, noise = 0.8, 0.4
    percent = normal_paths(sd)
    now, then = ranges_days(20 - 2 * (percent - 8), Shown(percent, noise, 0.0, 25.0), 0.1, 0.9)
    width = 2 * 2 * NormalDist().inv_cdf(0.9)
    assert now == pytest.approx(sd * width, rel=0.03)
    assert then == pytest.approx(width / math.sqrt(1 / sd**2 + 1 / noise**2), rel=0.06)


def test_days_that_the_bath_has_no_say_in_stay_as_wide() -> None:
    percent, days = normal_paths(1.0), np.random.default_rng(9).uniform(5, 15, PATHS)
    now, then = ranges_days(days, Shown(percent, 0.2, 0.0, 25.0), 0.1, 0.9)
    assert then == pytest.approx(now, rel=0.02)


def test_an_instrument_that_is_always_misread_tells_nothing() -> None:
    percent = normal_paths(1.0)
    weights = weights_of(Shown(percent, 0.2, 1.0, 25.0))
    assert weights == pytest.approx(np.full_like(weights, 1 / PATHS))


def hardly_read() -> RoomFilter:
    """Steady work for two months, and no reading that tells what it carries in."""
    changes = [swap(day) for day in (12.0, 24.0, 36.0, 48.0)]
    return filter_of([*set_up("alder"), *steady_washes(55, per_day=3), *changes])


NOW = START + 55 * DAY


def test_the_worth_is_that_of_readings_put_into_the_filter() -> None:
    """Readings drawn from the filter's samples, each taken into a copy, each forecast anew."""
    room, now = hardly_read(), NOW
    belief = room.belief("alder", now)
    (worth,) = worth_of_readings(room, belief, np.random.default_rng(3))
    assert worth.method == "residue"
    draws = room.draw("alder", now, 2000, np.random.default_rng(3), with_shown=True)
    widths = []
    for number, percent in enumerate(readings_of(draws.shown["residue"]).tolist()):
        twin = room.copy()
        at = now + timedelta(seconds=1)
        values = {"sample_g": 10.0, "residue_g": max(percent, 0.0) / 10}
        twin.apply(Reading(at=at, id=f"r{number}", tank="alder", method="residue", values=values))
        days = np.minimum(passing_days(twin, "alder", at, np.random.default_rng(3)), 365)
        widths.append(float(np.quantile(days, 0.9) - np.quantile(days, 0.1)))
    assert worth.is_worthwhile
    assert worth.then_days == pytest.approx(np.median(widths), rel=0.25)


def test_a_reading_just_taken_leaves_little_for_the_next() -> None:
    room, now = hardly_read(), NOW
    (before,) = worth_of_readings(room, room.belief("alder", now), np.random.default_rng(1))
    room.apply(residue(55.0, 5.0))
    (after,) = worth_of_readings(room, room.belief("alder", now), np.random.default_rng(1))
    assert before.is_worthwhile
    assert not after.is_worthwhile


def test_the_room_s_instruments_are_compared_and_the_surest_comes_first() -> None:
    """Both were used of late, in the bath beside this one, which tells little of this one."""
    room, now = hardly_read(), NOW
    for entry in set_up("birch"):
        room.apply(replace(entry, at=now - 4 * DAY))
    by_hydrometer = {"density_g_ml": 0.79, "temperature_c": 20.0}
    for days, method, values in ((3, "residue", {"sample_g": 10.0, "residue_g": 0.0}),
                                 (2, "hydrometer", by_hydrometer)):  # fmt: skip
        at = now - days * DAY
        room.apply(Reading(at=at, tank="birch", method=method, values=values))
    for seed in range(3):
        found = worth_of_readings(room, room.belief("alder", now), np.random.default_rng(seed))
        assert [one.method for one in found] == ["residue", "hydrometer"]
        assert found[0].then_days < found[1].then_days


def test_the_same_random_numbers_give_the_same_worth() -> None:
    room = hardly_read()
    belief = room.belief("alder", NOW)
    first = worth_of_readings(room, belief, np.random.default_rng(1))
    assert worth_of_readings(room, belief, np.random.default_rng(1)) == first


def test_past_the_limit_a_reading_narrows_nothing() -> None:
    room = filter_of([*set_up("alder", limit_percent=1.0), *steady_washes(9, per_day=4)])
    belief = room.belief("alder", START + 9 * DAY)
    assert worth_of_readings(room, belief, np.random.default_rng(1)) == ()


def test_the_days_now_are_those_of_the_forecast() -> None:
    room = filter_of([*set_up("alder"), *steady_washes(9), swap(9.0), residue(9.1, 0.1)])
    now = START + 9.2 * DAY
    (worth,) = worth_of_readings(room, room.belief("alder", now), np.random.default_rng(6))
    days = np.sort(np.minimum(passing_days(room, "alder", now, np.random.default_rng(6)), 365))
    # Within a path: a night lies between some.
    assert worth.now_days == pytest.approx(days[1800] - days[200], abs=0.7)


@pytest.mark.parametrize(
    "now, then, is_worthwhile",
    [
        (15.0, 6.0, True),
        (3.0, 2.1, False),
        (30.0, 26.0, False),
        (30.0, 25.0, True),
        (5.0, 6.0, False),
    ],
)
def test_little_is_no_reason_to_read(now: float, then: float, is_worthwhile: bool) -> None:
    assert Worth("residue", now, then).is_worthwhile == is_worthwhile
    assert Worth("residue", now, then).narrows_days >= 0
