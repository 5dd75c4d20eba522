"""What every line of costs rests on: rates, the shelf's solvents, what each tank holds when."""

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from app.domain.roomlog.kinds import Entry, Swap, Tank
from app.domain.spend.prices import NAMES, PricesState, Rates

BEGIN = datetime(1970, 1, 1, tzinfo=UTC)
MOMENT = timedelta(microseconds=1)

Steps = tuple[tuple[datetime, str], ...]
"""From when on a tank held which solvent."""


@dataclass(frozen=True)
class Basis:
    """What lines of a room rest on beside their own entries.

    Attributes:
        on_shelf: solvents that the shelf keeps an item of.
        tanks: the solvent of each tank as it changed, the oldest first.
        limits: the present limit of each tank, mass percent.
    """

    prices: PricesState = field(default_factory=PricesState)
    swap_minutes: float = 0.0
    on_shelf: frozenset[str] = frozenset()
    tanks: Mapping[str, Steps] = field(default_factory=dict)
    limits: Mapping[str, float] = field(default_factory=dict)

    def solvents_at(self, moment: datetime) -> "SolventsAt":
        """The solvent of each tank at an instant."""
        return SolventsAt(self.tanks, moment)


class SolventsAt(Mapping[str, str]):
    """What each tank held at an instant; before the first that is known of it, that."""

    def __init__(self, tanks: Mapping[str, Steps], moment: datetime) -> None:
        self._tanks, self._moment = tanks, moment

    def __getitem__(self, tank: str) -> str:
        steps = self._tanks[tank]
        place = bisect_right(steps, self._moment, key=lambda step: step[0])
        return steps[max(0, place - 1)][1]

    def __iter__(self) -> Iterator[str]:
        return iter(self._tanks)

    def __len__(self) -> int:
        return len(self._tanks)


def solvent_steps(entries: Iterable[Entry]) -> Steps:
    """The solvents of one tank from its set-ups and swaps, given in the order of truth."""
    steps: list[tuple[datetime, str]] = []
    for entry in entries:
        solvent = entry.solvent if isinstance(entry, Tank | Swap) else None
        if solvent and (not steps or steps[-1][1] != solvent):
            steps.append((entry.at, solvent))
    return tuple(steps)


def first_change(before: Basis, after: Basis) -> datetime | None:
    """From when on lines that rest on `before` are no longer right; None where all are.

    The limits are left out: counts of late washes rest on them, no line.
    """
    if before.swap_minutes != after.swap_minutes or before.on_shelf != after.on_shelf:
        return BEGIN
    both = before.tanks.keys() & after.tanks.keys()
    changes = [
        _of_prices(before.prices, after.prices),
        *(_of_steps(before.tanks[tank], after.tanks[tank]) for tank in both),
    ]
    return min((change for change in changes if change is not None), default=None)


def _of_steps(before: Steps, after: Steps) -> datetime | None:
    if before == after:
        return None
    if not before or not after or before[0] != after[0]:
        return BEGIN
    alike = next(
        (n for n, pair in enumerate(zip(before, after, strict=False)) if pair[0] != pair[1]),
        min(len(before), len(after)),
    )
    return min(steps[alike][0] for steps in (before, after) if len(steps) > alike)


def _of_prices(before: PricesState, after: PricesState) -> datetime | None:
    if before.steps == after.steps:
        return None
    moments = sorted({step.since_at for state in (before, after) for step in state.steps})
    for moment in [BEGIN, *moments]:
        if _values(before.at(moment)) != _values(after.at(moment)):
            return moment
    return None


def _values(rates: Rates) -> tuple[object, ...]:
    return tuple(getattr(rates, name) for name in NAMES)
