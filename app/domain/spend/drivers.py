"""Why a week cost more or less than usual: drivers, each with its sign, that add up to it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from app.domain.spend.allot import allotted
from app.domain.spend.lines import CATEGORIES, LABOUR, CostLine, total

MOST_TANKS = 2


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


def compare(
    lines: Sequence[CostLine], before: Sequence[Sequence[CostLine]]
) -> Comparison | None:  # fmt: skip
    """A week against those before it; None where there are none.

    The usual week is the mean, its parts rounded so that they add up (largest remainder).
    """
    if not before:
        return None
    count = len(before)
    means = _means(before, lambda line: line.category)
    usual_cents = round(sum(total(tuple(week)) for week in before) / count)
    usual = dict.fromkeys(CATEGORIES, 0) | _rounded(usual_cents, means)
    drivers = [
        Driver(name, cents, usual[name], _tanks(name, lines, before, cents - usual[name]))
        for name in CATEGORIES
        if (cents := sum(line.cents for line in lines if line.category == name)) != usual[name]
    ]
    drivers.sort(key=lambda driver: -abs(driver.change_cents))
    swaps = [swapped(week) for week in before]
    return Comparison(
        count, total(tuple(lines)), usual_cents, tuple(drivers), swapped(lines),
        sum(len(tanks) for tanks in swaps) / count,
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


def _means(
    before: Sequence[Sequence[CostLine]], key: Callable[[CostLine], str]
) -> dict[str, float]:
    sums: dict[str, int] = {}
    for week in before:
        for line in week:
            sums[key(line)] = sums.get(key(line), 0) + line.cents
    return {name: cents / len(before) for name, cents in sums.items()}


def _rounded(whole: int, means: Mapping[str, float]) -> dict[str, int]:
    """Means as whole cents that add up to the whole; what was given back in the mean stays so."""
    floors = {name: int(mean // 1) for name, mean in means.items()}
    rest = {name: mean - floors[name] for name, mean in means.items()}
    more = allotted(whole - sum(floors.values()), rest)
    return {name: floors[name] + more.get(name, 0) for name in means}


def _tanks(
    category: str, lines: Sequence[CostLine], before: Sequence[Sequence[CostLine]], change: int
) -> tuple[tuple[str, int], ...]:
    some = [[line for line in week if line.category == category] for week in (lines, *before)]
    means = _means(some[1:], lambda line: line.tank)
    now: dict[str, int] = {}
    for line in some[0]:
        now[line.tank] = now.get(line.tank, 0) + line.cents
    changes = {
        tank: round(now.get(tank, 0) - means.get(tank, 0.0)) for tank in {**now, **means} if tank
    }
    along = [
        (tank, cents) for tank, cents in changes.items() if cents and (cents > 0) == (change > 0)
    ]
    return tuple(sorted(along, key=lambda pair: (-abs(pair[1]), pair[0]))[:MOST_TANKS])
