"""What the next weeks are expected to cost, with their range."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import fmean, pstdev

from app.domain.spend.lines import DISPOSAL, LABOUR, CostLine

Z90 = 1.645  # half the width of a 90 % interval of a normal distribution


@dataclass(frozen=True)
class SwapCost:
    """A tank's next swaps: what one costs, and how likely it is due by an instant.

    Attributes:
        life_days: from one swap to the next; None where it is not known.
        charged_cents: what the week under way was charged already for a swap that is under way.
    """

    tank: str
    cents: float
    chance: Callable[[datetime], float]
    life_days: float | None = None
    charged_cents: float = 0.0


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


FRESH = Begun(0.0, 1.0)


def usual(weeks: Sequence[Sequence[CostLine]]) -> tuple[float, float]:
    """Mean and standard deviation of a week's costs that no swap causes, in cents."""
    return spread([sum(line.cents for line in lines if not is_of_swap(line)) for lines in weeks])


def spread(sums: Sequence[int]) -> tuple[float, float]:
    """Mean and standard deviation of weeks' costs; nothing without any."""
    return fmean(sums or [0]), pstdev(sums or [0])


def is_of_swap(line: CostLine) -> bool:
    is_labour = line.category == LABOUR and line.what == "Swap"
    return line.purpose == "swap" or line.category == DISPOSAL or is_labour


def weeks_ahead(
    spans: Sequence[tuple[datetime, datetime]], swaps: Sequence[SwapCost],
    usual_cents: tuple[float, float], begun: Begun = FRESH,
) -> list[WeekAhead]:  # fmt: skip
    """Each week's expected costs: usual ones, and each swap's by its chance to fall into it.

    The first week may be under way (`begun`): what it has cost stands, of the usual costs only
    the part that is left is expected, and a swap under way costs what was not charged for it yet.
    The range takes swaps as independent of each other and the sum as normal: a week's costs are
    the sum of many.
    """
    costs = {swap.tank: swap.cents for swap in swaps}
    found = []
    for number, (since, until) in enumerate(spans):
        first = number == 0
        part = begun if first else FRESH
        mean, sd = usual_cents[0] * part.share_left, usual_cents[1] * part.share_left**0.5
        chances = {swap.tank: _chance(swap, since, until, is_first=first) for swap in swaps}
        expected = sum(chance * costs[tank] for tank, chance in chances.items())
        if first:
            expected -= sum(min(swap.charged_cents, swap.cents) for swap in swaps)
        variance = sd**2 + sum(
            costs[tank] ** 2 * max(0.0, chance * (1 - chance)) for tank, chance in chances.items()
        )
        spread, sure = Z90 * variance**0.5, part.spent_cents
        middle = sure + mean + expected
        found.append(
            WeekAhead(
                since, middle, max(sure, middle - spread), middle + spread, mean,
                sum(chances.values()), _likely(chances), sure,
            )
        )  # fmt: skip
    return found


def _chance(swap: SwapCost, since: datetime, until: datetime, *, is_first: bool) -> float:
    """Expected swaps of a tank between two instants, those after the next one included."""
    found = 0.0
    back = timedelta(0)
    for round_ in range(60):
        before = 0.0 if is_first and round_ == 0 else swap.chance(since - back)
        found += max(0.0, swap.chance(until - back) - before)
        if not swap.life_days or swap.life_days < 2:
            break
        back += timedelta(days=swap.life_days)
        if swap.chance(until - back) <= 0:
            break
    return found


def _likely(chances: Mapping[str, float]) -> tuple[tuple[str, float], ...]:
    some = [(tank, chance) for tank, chance in chances.items() if chance >= 0.1]
    return tuple(sorted(some, key=lambda pair: -pair[1]))


def whole(weeks: Sequence[WeekAhead]) -> tuple[float, float, float]:
    """All weeks together: middle, low and high end of the 90 % range, in cents.

    Which week a swap falls into matters little to the sum, so half of the weeks' own spread of
    each is left out.
    """
    middle = sum(week.cents for week in weeks)
    variance = sum(((week.high_cents - week.cents) / Z90) ** 2 for week in weeks)
    spread = Z90 * (variance / 2) ** 0.5
    return middle, max(0.0, middle - spread), middle + spread
