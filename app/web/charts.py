"""Geometry of the charts: scales, ticks and paths. Templates draw what is worked out here."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from itertools import pairwise

WIDTH, HEIGHT = 1000.0, 380.0
LEFT, RIGHT, TOP, BOTTOM = 64.0, 16.0, 18.0, 46.0
HALF_A_TEXT = 24.0
"""Half of what a short text takes beside a mark."""
STEPS_DAYS = (1, 2, 7, 14, 28, 56, 91)

Point = tuple[float, float]


@dataclass(frozen=True)
class Tick:
    """A mark of an axis: where it lies and what stands beside it."""

    at: float
    text: str

    @property
    def anchor(self) -> str:
        """Which point of the text stands below the mark: its end at the right edge, to be whole."""
        return "end" if self.at > WIDTH - RIGHT - HALF_A_TEXT else "middle"


@dataclass(frozen=True)
class TimeScale:
    """From instants to the picture's width."""

    since: datetime
    until: datetime

    def x(self, at: datetime) -> float:
        """Where an instant lies."""
        span_s = max((self.until - self.since).total_seconds(), 1.0)
        share = (at - self.since).total_seconds() / span_s
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)

    def ticks(self, zone: tzinfo, most: int = 9) -> list[Tick]:
        """Midnights of the zone, a day to a quarter apart, at most `most` of them."""
        days = (self.until - self.since).total_seconds() / 86400
        step = next((step for step in STEPS_DAYS if days / step <= most), STEPS_DAYS[-1])
        local = self.since.astimezone(zone)
        day = local.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
        found = []
        while day <= self.until:
            found.append(Tick(self.x(day), f"{day.day} {day:%b}"))
            day += timedelta(days=step)
        return found


@dataclass(frozen=True)
class ValueScale:
    """From values to the picture's height, zero at the bottom."""

    highest: float

    def y(self, value: float) -> float:
        """Where a value lies; what is off the scale lies at its edge."""
        share = min(max(value / self.highest, -0.02), 1.02)
        return round(HEIGHT - BOTTOM - share * (HEIGHT - TOP - BOTTOM), 1)

    def ticks(self) -> list[Tick]:
        """Round values from zero up."""
        return [Tick(self.y(value), f"{value:g}") for value in nice_values(self.highest)]


def nice_values(highest: float, most: int = 6) -> list[float]:
    """Round values from 0 to `highest`: at most `most` steps of 1, 2, 2.5 or 5 times a power of 10.

    >>> nice_values(12.4)
    [0.0, 2.5, 5.0, 7.5, 10.0]
    """
    rough = highest / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 2.5, 5, 10) if power * factor >= rough)
    return [round(step * index, 10) for index in range(int(highest / step + 1e-9) + 1)]


def line(points: Iterable[Point]) -> str:
    """A path through points.

    >>> line([(0, 1), (2.5, 3)])
    'M0 1L2.5 3'
    """
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in drawn) if (drawn := list(points)) else ""


def lines(pieces: Iterable[Sequence[Point]]) -> str:
    """Paths through several pieces, not joined to each other."""
    return "".join(line(piece) for piece in pieces if piece)


def area(upper: Sequence[Point], lower: Sequence[Point]) -> str:
    """The outline between two lines."""
    return line([*upper, *reversed(lower)]) + "Z" if upper else ""


def reaches(edges: Sequence[float], least: float) -> list[Point]:
    """Where the parts of a bar can be seen or pointed at: (start, width), side by side.

    `edges` are the ends of the parts, from the bar's start to its end. A part thinner than
    `least` borrows what it lacks from its neighbours; where the bar has no room for all, each
    takes the same.

    >>> reaches([0.0, 500.0, 500.1, 1000.0], least=24)
    [(0.0, 500.0), (500.0, 24.0), (524.0, 476.0)]
    """
    if len(edges) < 2:
        return []
    count, start, end = len(edges) - 1, edges[0], edges[-1]
    least = min(least, (end - start) / max(count, 1))
    taken = list(edges)
    for place in range(1, count):  # each begins where the one before has had its least
        taken[place] = max(taken[place], taken[place - 1] + least)
    for place in range(count - 1, 0, -1):  # and leaves the ones behind it theirs
        taken[place] = min(taken[place], end - (count - place) * least)
    return [(round(a, 1), round(b - a, 1)) for a, b in pairwise(taken)]


@dataclass(frozen=True)
class ErrorBar:
    """A measured value with its reach up and down, and what to say of it."""

    x: float
    y: float
    low_y: float
    high_y: float
    is_set_aside: bool
    text: str


def error_bar(
    x: float, scale: ValueScale, value: float, reach: float, text: str, is_set_aside: bool = False
) -> ErrorBar:
    """A value at `x`, give or take `reach`, on a scale of values."""
    low_y, high_y = scale.y(value - reach), scale.y(value + reach)
    return ErrorBar(x, scale.y(value), low_y, high_y, is_set_aside, text)


@dataclass(frozen=True)
class Bar:
    """A rate and its interval, in percent of the width of the picture."""

    low: float
    mark: float
    high: float

    @property
    def width(self) -> float:
        """How long the interval is, never too thin to be seen."""
        return round(max(self.high - self.low, 0.5), 2)


def bar(value: float, low: float, high: float, highest: float) -> Bar:
    """A value and its interval on a scale from 0 to `highest`; what is beyond lies at the edge.

    >>> bar(0.1, 0.05, 0.3, highest=0.2)
    Bar(low=25.0, mark=50.0, high=100.0)
    """
    return Bar(*(round(100 * min(max(part / highest, 0.0), 1.0), 2) for part in (low, value, high)))


SPARK_WIDTH, SPARK_HEIGHT = 100.0, 30.0


def spark(values: Sequence[float]) -> str:
    """A small line without axes, evenly spaced, from its lowest to its highest value.

    >>> spark([1, 3, 2])
    'M0 28L50 2L100 15'
    """
    if len(values) < 2:
        return ""
    low, high = min(values), max(values)
    span = (high - low) or 1.0
    reach = SPARK_HEIGHT - 4  # so that the stroke is not cut off
    step = SPARK_WIDTH / (len(values) - 1)
    return line(
        (round(index * step, 1), round(SPARK_HEIGHT - 2 - (value - low) / span * reach, 1))
        for index, value in enumerate(values)
    )
