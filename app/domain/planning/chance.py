"""How likely a bath is past its limit on a day to come, from the figures of its forecast."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from functools import cached_property

import numpy as np

from app.domain.planning.days import ONE, starts_at

OUTER = 0.05  # the fan's outer lines: five in a hundred beyond each


@dataclass(frozen=True)
class Chances:
    """The chance that the limit is passed by an instant, between known points in a straight line.

    Attributes:
        points: pairs of instant and chance, both rising.
    """

    points: tuple[tuple[datetime, float], ...]

    @cached_property
    def _course(self) -> tuple[list[float], list[float]]:
        return [at.timestamp() for at, _ in self.points], [chance for _, chance in self.points]

    def at(self, moment: datetime) -> float:
        """The chance by an instant; before the first point as there, behind the last as there."""
        return float(np.interp(moment.timestamp(), *self._course))

    def by_day(self, days: Sequence[date], zone: tzinfo) -> list[float]:
        """The chance by the beginning of each day in the room's time: if the swap comes first
        thing that day, parts came out of a bath past its limit with this chance."""
        asked = [starts_at(day, zone).timestamp() for day in days]
        found = np.interp(asked, *self._course)
        return [float(chance) for chance in found]


def chances(
    made_at: datetime,
    quantiles: Iterable[tuple[datetime | None, float]],
    fan: Iterable[tuple[datetime, float, float]] = (),
    limit_percent: float = 100.0,
    horizon: tuple[datetime, float] | None = None,
) -> Chances:
    """The course of the chance from a forecast made at an instant.

    `quantiles` are the instants by which the limit is passed with a chance (None: beyond the
    horizon), `fan` (instant, 5 % line, 95 % line of saturation), `horizon` the last instant looked
    at with the chance by then. Where the fan's outer lines meet the limit, the chance is 5 % and
    95 %. The course never falls: what was passed stays passed until the swap.
    """
    known = [(at, chance) for at, chance in quantiles if at is not None]
    lines = list(fan)
    upper, lower = [(at, high) for at, _, high in lines], [(at, low) for at, low, _ in lines]
    for line, chance in ((upper, OUTER), (lower, 1 - OUTER)):
        if (at := _first_at(line, limit_percent)) is not None:
            known.append((at, chance))
    if horizon is not None:
        known.append(horizon)
    already = max((chance for at, chance in known if at <= made_at), default=0.0)
    ahead = sorted(point for point in known if point[0] > made_at)
    course = [(made_at, already)]
    for at, chance in ahead:
        course.append((at, max(chance, course[-1][1])))
    return Chances(tuple(course))


def _first_at(line: list[tuple[datetime, float]], limit_percent: float) -> datetime | None:
    """When a line of the fan first reaches the limit."""
    before: tuple[datetime, float] | None = None
    for at, percent in line:
        if percent >= limit_percent:
            if before is None or percent == before[1]:
                return at
            share = (limit_percent - before[1]) / (percent - before[1])
            return before[0] + share * (at - before[0])
        before = at, percent
    return None


@dataclass(frozen=True)
class LaterDay:
    """What a swap on a later day costs.

    Attributes:
        chance: that parts come out of the bath past its limit before the swap, 0 to 1.
        days_past: working days on which they do, on average.
    """

    day: date
    chance: float
    days_past: float


def cost_of_days(course: Chances, days: Sequence[date], zone: tzinfo) -> list[LaterDay]:
    """What it costs to swap on each of these working days, given in order without gaps.

    A day's work counts as past the limit with the chance that holds at its end.
    """
    if not days:
        return []
    starts = course.by_day(days, zone)
    ends = course.by_day([day + ONE for day in days], zone)
    past = np.concatenate([[0.0], np.cumsum(ends[:-1])])
    return [
        LaterDay(day, chance, float(sum_))
        for day, chance, sum_ in zip(days, starts, past, strict=True)
    ]
