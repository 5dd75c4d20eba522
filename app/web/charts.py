"""Geometry of the charts: scales, ticks and paths. Templates draw what is worked out here."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo

WIDTH, HEIGHT = 1000.0, 380.0
LEFT, RIGHT, TOP, BOTTOM = 64.0, 16.0, 18.0, 46.0
STEPS_DAYS = (1, 2, 7, 14, 28, 56, 91)

Point = tuple[float, float]


@dataclass(frozen=True)
class Tick:
    """A mark of an axis: where it lies and what stands beside it."""

    at: float
    text: str


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
    """Round values from 0 to `highest`, at most `most` steps apart by 1, 2 or 5 times a power of 10.

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
    return "M" + "L".join(f"{x:g} {y:g}" for x, y in points) if points else ""


def lines(pieces: Iterable[Sequence[Point]]) -> str:
    """Paths through several pieces, not joined to each other."""
    return "".join(line(piece) for piece in pieces if piece)


def area(upper: Sequence[Point], lower: Sequence[Point]) -> str:
    """The outline between two lines."""
    return line([*upper, *reversed(lower)]) + "Z" if upper else ""
