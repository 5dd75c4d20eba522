"""At what pace a tank is washed in: its week, its level of today, and how sure both are."""

import math
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.habits import DAYS_KEPT, HALF_LIFE_DAYS, Habits

Array = NDArray[np.float64]
Days = NDArray[np.int64]

LEVEL_LN_SD = 0.42
LEVEL_DAYS = 14.0
BASE_WALK_LN_SD = 0.012  # per square-root day: old weeks count less and less
BASE_PRIOR_LN_SD = 0.8
WEEKDAY_PRIOR_WEEKS = 0.25
PAUSE_WASHES = 8.0  # a silence in which so many washes were due is a pause, not a slow week
PAUSE_DAYS = 4
WORKDAY_PRIOR = 2.0  # washes' worth of a plain working day, 7 to 19 h


@dataclass(frozen=True)
class Pace:
    """Washes to expect.

    Attributes:
        weekday: share of the mean day's washes on each weekday, Monday first; their mean is 1.
        base_ln, level_ln: mean of the logarithms of the long-run washes per day and of today's
            level against it.
        covariance: of these two.
        pause_days: for how long nothing was washed although washes were due; 0 where work goes on.
        hours: share of a day's washes by the end of each hour, rising from 0 to 1 (25 values).
    """

    weekday: Array
    base_ln: float
    level_ln: float
    covariance: Array
    pause_days: float
    hours: Array

    def share_done(self, hour: float) -> float:
        """Share of a day's washes that are done at an hour of the day."""
        return float(np.interp(hour, np.arange(25), self.hours))

    def hour_at(self, share: Array) -> Array:
        """The hour of the day at which a share of the day's washes is done."""
        rising = self.hours + np.linspace(0, 1e-9, 25)
        return np.interp(share, rising, np.arange(25))


def pace(habits: Habits, now: datetime, prior_per_day: float | None) -> Pace:
    """The pace that a log shows.

    Args:
        habits: what the tank's log says.
        now: the instant from which to look ahead.
        prior_per_day: washes per day where the log is short, from the room's other tanks.
    """
    hours = working_hours(habits)
    local = now.astimezone(habits.zone)
    done_today = float(np.interp(local.hour + local.minute / 60, np.arange(25), hours))
    days, counts, exposure = _days_seen(habits, local.toordinal(), done_today)
    week = _week(days, counts, exposure)
    mean = _mean_per_day(days, counts, exposure, prior_per_day)
    if mean <= 0:
        return Pace(week, -math.inf, 0.0, np.zeros((2, 2)), 0.0, hours)
    expected = mean * week[_weekday(days)] * exposure
    is_pause, pause_days = _pauses(counts, expected)
    if is_pause.any() and not is_pause.all():
        exposure = np.where(is_pause, 0.0, exposure)
        week = _week(days, counts, exposure)
        mean = _mean_per_day(days, counts, exposure, prior_per_day)
    usual = week[_weekday(days)] * exposure
    start = math.log(mean if prior_per_day is None else 0.5 * (mean + prior_per_day))
    base_ln, level_ln, covariance = _follow(counts, usual, start)
    return Pace(week, base_ln, level_ln, covariance, pause_days, hours)


def working_hours(habits: Habits) -> Array:
    """Share of a day's washes by the end of each hour: from the log, and a plain working day."""
    plain = np.zeros(24)
    plain[7:19] = WORKDAY_PRIOR / 12
    done = np.cumsum(np.array(habits.hours) + plain)
    return np.concatenate([[0.0], done / done[-1]])


def _days_seen(habits: Habits, today: int, done_today: float) -> tuple[Days, Array, Array]:
    """The days since the first entry, at most so many, with their washes and how much of each
    day has passed."""
    first = today if habits.first_day is None else min(habits.first_day, today)
    days = np.arange(max(first, today - DAYS_KEPT), today + 1, dtype=np.int64)
    counts = np.array([habits.washes_on.get(int(day), 0) for day in days], dtype=float)
    exposure = np.ones(len(days))
    exposure[-1] = done_today
    return days, counts, exposure


def _weekday(days: Days) -> Days:
    return (days - 1) % 7  # day 1 of the proleptic calendar was a Monday


def _fading(days: Days, exposure: Array) -> Array:
    return np.asarray(exposure * 0.5 ** ((days[-1] - days) / HALF_LIFE_DAYS))


def _mean_per_day(days: Days, counts: Array, exposure: Array, prior: float | None) -> float:
    weight = _fading(days, exposure)
    washes = float((weight * counts).sum())
    seen_days = float(weight.sum())
    if washes == 0:
        return prior or 0.0
    return washes / max(seen_days, 1.0)


def _week(days: Days, counts: Array, exposure: Array) -> Array:
    """Each weekday's washes against the mean day's, held towards 1 while weeks are few."""
    weight = _fading(days, exposure)
    weekday = _weekday(days)
    seen = np.bincount(weekday, weight, 7)
    washes = np.bincount(weekday, weight * counts, 7)
    mean = washes.sum() / max(seen.sum(), 1e-9)
    if mean == 0:
        return np.ones(7)
    share = (washes + WEEKDAY_PRIOR_WEEKS * mean) / (seen + WEEKDAY_PRIOR_WEEKS) / mean
    return np.asarray(share / share.mean())


def _pauses(counts: Array, expected: Array) -> tuple[NDArray[np.bool_], float]:
    """Days of silences too long for chance, and the length of the one that goes on today."""
    is_pause = np.zeros(len(counts), dtype=bool)
    washed = np.flatnonzero(counts)
    edges = np.concatenate([[-1], washed, [len(counts)]])
    pause_days = 0.0
    for before, after in pairwise(edges.tolist()):
        silent = slice(before + 1, after)
        if after - before > PAUSE_DAYS and expected[silent].sum() > PAUSE_WASHES:
            is_pause[silent] = True
            pause_days = float(after - before - 1) if after == len(counts) else 0.0
    return is_pause, pause_days


def _follow(counts: Array, usual: Array, start_ln: float) -> tuple[float, float, Array]:
    """The long-run rate and today's level, followed day by day through Poisson counts.

    A Kalman filter on two logarithms: the base walks slowly, the level wanders back to 0. A
    day's count has the variance of its mean (linearised; a Poisson count's information).
    """
    keep = math.exp(-1 / LEVEL_DAYS)
    base, level = start_ln, 0.0
    pbb, pbl, pll = BASE_PRIOR_LN_SD**2, 0.0, LEVEL_LN_SD**2
    wander = LEVEL_LN_SD**2 * (1 - keep**2)
    for count, share in zip(counts.tolist(), usual.tolist(), strict=True):
        level *= keep
        pbb, pbl, pll = pbb + BASE_WALK_LN_SD**2, keep * pbl, keep * keep * pll + wander
        if share <= 0:
            continue
        mean = share * math.exp(base + level)
        gain_b, gain_l = pbb + pbl, pbl + pll
        scale = mean / (1 + mean * (gain_b + gain_l))
        surprise = max(-1.0, min(count / mean - 1, 2.0)) if mean > 0 else 0.0
        base += scale * gain_b * surprise
        level += scale * gain_l * surprise
        pbb -= scale * gain_b * gain_b
        pbl -= scale * gain_b * gain_l
        pll -= scale * gain_l * gain_l
    return base, level, np.array([[pbb, pbl], [pbl, pll]])
