"""The days to come, cut into steps at the room's midnights."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.forecast.pace import Pace

Array = NDArray[np.float64]

DAILY_STEPS = 45  # day by day so far ahead, then by the week
DAY = timedelta(days=1)


@dataclass(frozen=True)
class Steps:
    """The future in steps, the first from now to midnight.

    Attributes:
        until_day: how many midnights ahead each step ends, the first being 1.
        days: length of each step; a day that the clock change makes an hour longer counts as one.
        washes: of a mean day's washes, how many fall into each step.
        pace: spreads a day's washes over its hours.
        start_share: share of today's washes that is done.
        now, zone: where the first step starts, and whose midnights are meant.
    """

    until_day: NDArray[np.int64]
    days: Array
    washes: Array
    pace: Pace
    start_share: float
    now: datetime
    zone: tzinfo

    def ends_at(self, step: int) -> datetime:
        """When a step ends."""
        return _midnight(
            self.now.astimezone(self.zone).date(), int(self.until_day[step]), self.zone
        )

    def index_of(self, at: datetime) -> int:
        """The step in which an instant lies; the number of steps where it lies behind them."""
        ahead = (at - self.now) / DAY
        return int(np.searchsorted(np.cumsum(self.days), ahead, side="left"))

    def days_ahead(self, step: NDArray[np.int64], share: Array) -> Array:
        """How many days from now a share of each step's washes is done; never before now."""
        begins = np.concatenate([[0.0], np.cumsum(self.days)[:-1]])
        is_day = self.days[step] < 1.5
        first = step == 0
        of_day = np.where(first, self.start_share + share * (1 - self.start_share), share)
        hour = self.pace.hour_at(of_day)
        midnight = np.where(first, self.days[0] - 1, begins[step])
        within_day = np.maximum(midnight + hour / 24, begins[step])
        within_week = begins[step] + share * self.days[step]
        return np.asarray(np.where(is_day, within_day, within_week))


def steps_ahead(pace: Pace, now: datetime, zone: tzinfo, horizon_days: int) -> Steps:
    """Steps from now to the horizon."""
    local = now.astimezone(zone)
    start_share = pace.share_done(local.hour + local.minute / 60 + local.second / 3600)
    spans = _spans(horizon_days)
    edges = np.concatenate([[0], np.cumsum(spans)])
    days = np.array(spans, dtype=float)
    days[0] = (_midnight(local.date(), 1, zone) - now) / DAY
    by_day = pace.weekday[(local.weekday() + np.arange(edges[-1])) % 7]
    washes = np.add.reduceat(by_day, edges[:-1])
    washes[0] *= 1 - start_share
    return Steps(edges[1:], days, washes, pace, start_share, now, zone)


def _spans(horizon_days: int) -> list[int]:
    daily = min(DAILY_STEPS, horizon_days + 1)
    weeks = -(-(horizon_days + 1 - daily) // 7)
    return [1] * daily + [7] * weeks


def _midnight(today: date, days: int, zone: tzinfo) -> datetime:
    return datetime.combine(today + timedelta(days=days), time(), zone).astimezone(UTC)
