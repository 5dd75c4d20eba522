"""What the next weeks are expected to cost, with their range."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from math import erf, sqrt
from statistics import fmean, pstdev

import numpy as np
from numpy.typing import NDArray

from app.domain.spend.cost_lines import DISPOSAL, LABOUR, CostLine

LOW, HIGH = 0.05, 0.95
STEPS = 4000  # of the grid that costs are added up on
NAMED_FROM = 0.1  # chance from which a week names a swap
DAY = timedelta(days=1)

Curve = NDArray[np.float64]


@dataclass(frozen=True)
class PlannedSwap:
    """A swap to come: what it costs, the day planned for it, and how that day may move.

    Attributes:
        at: when the plan has it.
        sd_days: standard deviation of the day, as the forecast of the bath's limit may move it; 0
            for a swap that is due, pinned or under way.
        charged_cents: what the week under way was charged already for a swap that is under way.
    """

    tank: str
    cents: float
    at: datetime
    sd_days: float = 0.0
    charged_cents: float = 0.0

    def chance(self, moment: datetime) -> float:
        """That it is done by an instant: the planned day as the middle of a normal distribution."""
        away = (moment - self.at) / DAY
        if self.sd_days <= 0:
            return float(away > 0)
        return 0.5 * (1 + erf(away / (self.sd_days * sqrt(2))))


@dataclass(frozen=True)
class Begun:
    """The week that is under way: what it has cost so far, and what share of it is left."""

    spent_cents: float
    share_left: float


@dataclass(frozen=True)
class WeekAhead:
    """A week to come.

    Attributes:
        swaps: expected number; likely: tanks with their chance of a swap in it, the likeliest
            first.
        usual_cents: everything but swaps, as in the weeks before; of a week under way what is
            left of it.
        spent_cents: what a week under way has cost so far; it is in `cents`.
    """

    since: datetime
    cents: float
    low_cents: float
    high_cents: float
    usual_cents: float
    swaps: float
    likely: tuple[tuple[str, float], ...]
    spent_cents: float = 0.0


@dataclass(frozen=True)
class Expected:
    """The weeks to come, and all of them together with the range of their sum."""

    weeks: tuple[WeekAhead, ...]
    cents: float
    low_cents: float
    high_cents: float


FRESH = Begun(0.0, 1.0)


def spread(sums: Sequence[int]) -> tuple[float, float]:
    """Mean and standard deviation of weeks' costs; nothing without any."""
    return fmean(sums or [0]), pstdev(sums or [0])


def is_of_swap(line: CostLine) -> bool:
    """Whether a swap causes a cost: its solvent, its waste, its labour."""
    is_labour = line.category == LABOUR and line.what == "Swap"
    return line.purpose == "swap" or line.category == DISPOSAL or is_labour


def weeks_ahead(
    spans: Sequence[tuple[datetime, datetime]], swaps: Sequence[PlannedSwap],
    usual_cents: tuple[float, float], begun: Begun = FRESH,
) -> Expected:  # fmt: skip
    """Each week's expected costs: usual ones, and each swap's by its chance to fall into it.

    The first week may be under way (`begun`): what it has cost stands, of the usual costs only
    the part that is left is expected, and a swap under way costs what was not charged for it yet.
    A range holds nine tenths: usual costs vary as they did, swaps fall into a week or not,
    independently of each other.
    """
    charged = sum(min(swap.charged_cents, swap.cents) for swap in swaps)
    found = []
    for number, (since, until) in enumerate(spans):
        part = FRESH if number else begun
        usual = usual_cents[0] * part.share_left, usual_cents[1] * part.share_left**0.5
        chances = [swap.chance(until) - (swap.chance(since) if number else 0.0) for swap in swaps]
        sure = part.spent_cents - (0.0 if number else charged)
        middle, low, high = _sum(usual, _weighed(swaps, chances), sure, part.spent_cents)
        found.append(
            WeekAhead(
                since, middle, low, high, usual[0], sum(chances),
                _likely(zip(swaps, chances, strict=True)), part.spent_cents,
            )
        )  # fmt: skip
    weeks = begun.share_left + len(spans) - 1
    usual = usual_cents[0] * weeks, usual_cents[1] * weeks**0.5
    chances = [swap.chance(spans[-1][1]) for swap in swaps]
    sure = begun.spent_cents - charged
    whole = _sum(usual, _weighed(swaps, chances), sure, begun.spent_cents)
    return Expected(tuple(found), *whole)


def _weighed(swaps: Sequence[PlannedSwap], chances: Sequence[float]) -> list[tuple[float, float]]:
    return [(swap.cents, chance) for swap, chance in zip(swaps, chances, strict=True)]


def _sum(
    usual: tuple[float, float], swaps: Sequence[tuple[float, float]], sure: float, least: float
) -> tuple[float, float, float]:
    """Mean and range of usual costs (mean, standard deviation), each swap's (cents, chance), and
    what is sure; never less than what was spent."""
    middle = sure + usual[0] + sum(cents * chance for cents, chance in swaps)
    likely = [(cents, chance) for cents, chance in swaps if cents > 0 and chance > 1e-6]
    most = usual[0] + 5 * usual[1] + sum(cents for cents, _ in likely)
    step = max(most / STEPS, 1e-9)
    curve = _usual_curve(usual, step)
    for cents, chance in likely:
        moved = round(cents / step)
        behind = np.zeros(moved)
        curve = (1 - chance) * np.append(curve, behind) + chance * np.append(behind, curve)
    rising = np.cumsum(curve)
    ends = [step * int(np.searchsorted(rising, share * rising[-1])) for share in (LOW, HIGH)]
    low, high = (max(least, sure + end) for end in ends)
    return max(least, middle), min(low, max(least, middle)), max(high, middle)


def _usual_curve(usual: tuple[float, float], step: float) -> Curve:
    """Usual costs on the grid: normal, and never below nothing."""
    mean, sd = usual
    places = round((mean + 5 * sd) / step)
    grid = step * np.arange(places + 1)
    if sd <= step:
        curve = np.zeros(places + 1)
        curve[min(places, round(mean / step))] = 1.0
        return curve
    density: Curve = np.exp(-0.5 * ((grid - mean) / sd) ** 2)
    whole: Curve = density / density.sum()
    return whole


def _likely(pairs: Iterable[tuple[PlannedSwap, float]]) -> tuple[tuple[str, float], ...]:
    by_tank: dict[str, float] = {}
    for swap, chance in pairs:
        by_tank[swap.tank] = by_tank.get(swap.tank, 0.0) + chance
    some = [(tank, chance) for tank, chance in by_tank.items() if chance >= NAMED_FROM]
    return tuple(sorted(some, key=lambda pair: -pair[1]))
