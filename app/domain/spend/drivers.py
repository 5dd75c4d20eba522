"""Why a week cost more or less than usual: drivers, each with its sign, that add up to it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from app.domain.spend.allot import allotted
from app.domain.spend.lines import CATEGORIES, LABOUR, CostLine, total

MOST_TANKS = 2


@dataclass(frozen=True)
class Before:
    """What the weeks before cost together.

    Attributes:
        cents: by category and tank.
        swaps: in all of these weeks, a tank at most once a week.
    """

    weeks: int
    cents: Mapping[tuple[str, str], int]
    swaps: int

    @classmethod
    def of(cls, weeks: Sequence[Sequence[CostLine]]) -> "Before":
        """The sums of the lines of weeks."""
        cents: dict[tuple[str, str], int] = {}
        for line in (line for week in weeks for line in week):
            key = line.category, line.tank
            cents[key] = cents.get(key, 0) + line.cents
        return cls(len(weeks), cents, sum(len(swapped(week)) for week in weeks))


@dataclass(frozen=True)
class Driver:
    """A category's part of the difference.

    Attributes:
        cents, usual_cents, change_cents: this week's, the usual ones, and the first less the
            second.
        tanks: where most of the change comes from, each with its own change in cents; only such
            as have its sign, the largest first.
    """

    category: str
    cents: int
    usual_cents: int
    tanks: tuple[tuple[str, int], ...] = ()

    @property
    def change_cents(self) -> int:
        """Above zero where it cost more than usual."""
        return self.cents - self.usual_cents


@dataclass(frozen=True)
class Comparison:
    """A week against the mean of the weeks before it, or of the same part of them.

    Attributes:
        weeks: how many there are to compare with.
        drivers: every category that differs, the largest difference first; their changes add up
            to `change_cents`.
        swapped, usual_swaps: tanks whose swap the week paid labour or solvent for; how many a
            week usually has.
    """

    weeks: int
    cents: int
    usual_cents: int
    drivers: tuple[Driver, ...]
    swapped: tuple[str, ...]
    usual_swaps: float

    @property
    def change_cents(self) -> int:
        """Above zero where the week cost more than usual."""
        return self.cents - self.usual_cents

    def main(self, most: int = 2) -> tuple[Driver, ...]:
        """The largest drivers that go the way of the difference itself."""
        up = self.change_cents > 0
        along = [one for one in self.drivers if (one.change_cents > 0) == up]
        return tuple(along[:most]) if self.change_cents else ()


def compare(lines: Sequence[CostLine], before: Before) -> Comparison | None:
    """A week against those before it; None where there are none.

    The usual week is the mean, its parts rounded so that they add up (largest remainder).
    """
    if not before.weeks:
        return None
    sums: dict[str, int] = {}
    for (category, _), cents in before.cents.items():
        sums[category] = sums.get(category, 0) + cents
    usual_cents = round(sum(sums.values()) / before.weeks)
    means = {name: cents / before.weeks for name, cents in sums.items()}
    usual = dict.fromkeys(CATEGORIES, 0) | _rounded(usual_cents, means)
    drivers = [
        Driver(name, cents, usual[name], _tanks(name, lines, before, cents - usual[name]))
        for name in CATEGORIES
        if (cents := sum(line.cents for line in lines if line.category == name)) != usual[name]
    ]
    drivers.sort(key=lambda driver: -abs(driver.change_cents))
    return Comparison(
        before.weeks, total(tuple(lines)), usual_cents, tuple(drivers), swapped(lines),
        before.swaps / before.weeks,
    )  # fmt: skip


def swapped(lines: Sequence[CostLine]) -> tuple[str, ...]:
    """Tanks whose swap is among the costs, in the order of time."""
    return tuple(
        dict.fromkeys(
            line.tank
            for line in lines
            if line.tank and (line.purpose == "swap" or _is_swap_labour(line))
        )
    )


def _is_swap_labour(line: CostLine) -> bool:
    return line.category == LABOUR and line.what == "Swap"


def _rounded(whole: int, means: Mapping[str, float]) -> dict[str, int]:
    """Means as whole cents that add up to the whole; what was given back in the mean stays so."""
    floors = {name: int(mean // 1) for name, mean in means.items()}
    rest = {name: mean - floors[name] for name, mean in means.items()}
    more = allotted(whole - sum(floors.values()), rest)
    return {name: floors[name] + more.get(name, 0) for name in means}


def _tanks(
    category: str, lines: Sequence[CostLine], before: Before, change: int
) -> tuple[tuple[str, int], ...]:
    means = {
        tank: cents / before.weeks
        for (name, tank), cents in before.cents.items()
        if name == category
    }
    now: dict[str, int] = {}
    for line in lines:
        if line.category == category:
            now[line.tank] = now.get(line.tank, 0) + line.cents
    changes = {
        tank: round(now.get(tank, 0) - means.get(tank, 0.0)) for tank in {**now, **means} if tank
    }
    along = [
        (tank, cents) for tank, cents in changes.items() if cents and (cents > 0) == (change > 0)
    ]
    return tuple(sorted(along, key=lambda pair: (-abs(pair[1]), pair[0]))[:MOST_TANKS])
