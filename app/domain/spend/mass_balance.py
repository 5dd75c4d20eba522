"""Where the solvent went: what came in against what is there, what left, and what is unexplained.

Litres, resin included: parts carry resin into the baths, and it leaves with the waste. How much
stands in each bath follows from its own log: fills, drains, levels seen, expected losses.
"""

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from app.domain.roomlog.kinds import Entry, Removal, Swap, Tank, TankChange, TopUp
from app.domain.roomlog.kinds.checklists import TankContents
from app.domain.roomlog.kinds.waste import Pour

HEEL = 0.02  # share of a drained bath that stays (estimator/settings.py)

Change = Callable[[str, datetime, datetime], float]
"""Expected change of a tank's volume between two instants, litres."""

LEAST_TOLERANCE_L = 2.0  # common practice, no source: less than marks on walls can show
LOSS_DOUBT = 0.3  # evaporation as it is estimated (estimator/settings.py evaporation_noise)
CAME = ("bought_l", "resin_l", "set_up_l")
WENT = ("in_tanks_l", "on_shelf_l", "drums_l", "lost_l", "scrapped_l")
UNEXPLAINED = "unexplained_l"
Shown = Mapping[str, int]
"""A balance in whole steps of what is shown, by name; what came is what went and is unexplained."""


class Levels:
    """Walks the baths' log, tank by tank; what is seen of a level sets it.

    While a swap is under way, what it has poured into drums stands in the tank no more, although
    the entry that says what was drained and filled is yet to come.
    """

    def __init__(self, change: Change) -> None:
        self._change = change
        self._litres: dict[str, float] = {}
        self._capacity_l: dict[str, float] = {}
        self._seen_at: dict[str, datetime] = {}
        self._poured_l: dict[str, float] = {}  # by swaps that are under way
        self._filled_by: dict[str, str | None] = {}

    def copied(self, change: Change) -> "Levels":
        """A walk that goes on from here with another expected change."""
        other = Levels(change)
        other._litres, other._capacity_l = dict(self._litres), dict(self._capacity_l)
        other._seen_at, other._poured_l = dict(self._seen_at), dict(self._poured_l)
        other._filled_by = dict(self._filled_by)
        return other

    def take(self, entry: Entry) -> None:
        """Take an entry in, in the order of truth."""
        step = _STEPS.get(type(entry))
        if step is not None:
            step(self, entry)

    def at(self, moment: datetime) -> dict[str, float]:
        """Litres in each bath at an instant behind all entries taken."""
        return {
            tank: max(0.0, self._now(tank, moment) - self._poured_l.get(tank, 0.0))
            for tank in self._litres
        }

    def _now(self, tank: str, moment: datetime) -> float:
        litres = self._litres.get(tank, 0.0)
        since = self._seen_at.get(tank)
        if since is None or moment <= since:
            return litres
        return max(0.0, litres + self._change(tank, since, moment))

    def _set(self, tank: str, moment: datetime, litres: float) -> None:
        self._litres[tank], self._seen_at[tank] = max(0.0, litres), moment

    def _tank(self, entry: Tank) -> None:
        self._capacity_l[entry.tank] = entry.capacity_l
        self._poured_l.pop(entry.tank, None)
        self._set(entry.tank, entry.at, entry.capacity_l)

    def _changed(self, entry: TankChange) -> None:
        if entry.capacity_l is not None:
            self._capacity_l[entry.tank] = entry.capacity_l
        if entry.is_retired:
            self._poured_l.pop(entry.tank, None)
            self._set(entry.tank, entry.at, 0.0)

    def _top_up(self, entry: TopUp) -> None:
        litres = self._now(entry.tank, entry.at) + entry.volume_l
        if entry.to_mark:
            litres = self._capacity_l.get(entry.tank, litres)
            self._poured_l.pop(entry.tank, None)
        self._set(entry.tank, entry.at, litres)

    def _removal(self, entry: Removal) -> None:
        litres = self._now(entry.tank, entry.at) - entry.volume_l
        if entry.left_l is not None:
            litres = entry.left_l
        if entry.swap is not None:
            self._poured_l.pop(entry.tank, None)
        self._set(entry.tank, entry.at, litres)

    def _said(self, entry: TankContents) -> None:
        """What is in a tank whose swap stopped: what that had poured is no more held against it."""
        if entry.found != "asked":
            self._poured_l.pop(entry.tank, None)

    def _swap(self, entry: Swap) -> None:
        there = self._now(entry.tank, entry.at)
        left = there * HEEL if entry.drained_l is None else there - entry.drained_l
        if entry.heel_l is not None:
            left = entry.heel_l
        filled = entry.filled_l
        if filled is None:
            filled = self._capacity_l.get(entry.tank, 0.0) - max(left, 0.0)
        if entry.from_tank is not None:
            source = self._now(entry.from_tank, entry.at)
            filled = min(filled, source)
            self._set(entry.from_tank, entry.at, source - filled)
        self._set(entry.tank, entry.at, max(left, 0.0) + filled)
        self._poured_l.pop(entry.tank, None)
        self._filled_by[entry.tank] = entry.swap

    def _pour(self, entry: Pour) -> None:
        """A pour that is entered behind its swap's own entry is part of what that one drained."""
        if entry.tank and entry.swap and entry.swap != self._filled_by.get(entry.tank):
            poured_l = self._poured_l.get(entry.tank, 0.0)
            self._poured_l[entry.tank] = poured_l + entry.volume_l


_STEPS: dict[type[Entry], Any] = {
    Tank: Levels._tank,
    TankChange: Levels._changed,
    TopUp: Levels._top_up,
    Removal: Levels._removal,
    Swap: Levels._swap,
    Pour: Levels._pour,
    TankContents: Levels._said,
}


def levels_at(
    entries: Iterable[Entry], moments: Sequence[datetime], change: Change,
    begin: Levels | None = None,
) -> list[dict[str, float]]:  # fmt: skip
    """Litres in each bath at each of the instants, which rise; from where a walk has come to."""
    walk, found = (begin or Levels(change)).copied(change), []
    rest = iter(sorted(entries, key=lambda entry: entry.at))
    entry = next(rest, None)
    for moment in moments:
        while entry is not None and entry.at < moment:
            walk.take(entry)
            entry = next(rest, None)
        found.append(walk.at(moment))
    return found


@dataclass(frozen=True)
class Balance:
    """A period's balance; `in_tanks_l` and `on_shelf_l` are changes from its begin to its end.

    Attributes:
        bought_l, resin_l: what came: deliveries; resin that parts carried into the baths.
        set_up_l: what new tanks held when they came into use.
        drums_l: poured into waste drums.
        lost_l: dragged out with parts and evaporated, as the estimator has it.
        scrapped_l: thrown away unused.
        moved_l: what the log moved at all, fills and pours: what the tolerance is measured by.
        weeks: how many weeks it covers.
    """

    bought_l: float = 0.0
    resin_l: float = 0.0
    set_up_l: float = 0.0
    on_shelf_l: float = 0.0
    in_tanks_l: float = 0.0
    drums_l: float = 0.0
    lost_l: float = 0.0
    scrapped_l: float = 0.0
    moved_l: float = 0.0
    weeks: int = 1

    @property
    def came_l(self) -> float:
        """Everything that came in."""
        return self.bought_l + self.resin_l + self.set_up_l

    @property
    def unexplained_l(self) -> float:
        """What no line accounts for; below zero where more is there, or left, than came."""
        there_l = self.on_shelf_l + self.in_tanks_l
        return self.came_l - there_l - self.drums_l - self.lost_l - self.scrapped_l

    def tolerance_l(self, percent: float) -> float:
        """What may be unexplained before it is flagged: of what was moved, and of the losses.

        Over several weeks the errors of single weeks partly cancel: their squares add up.
        """
        whole_l = percent / 100 * self.moved_l + LOSS_DOUBT * abs(self.lost_l)
        return max(LEAST_TOLERANCE_L, whole_l / math.sqrt(max(self.weeks, 1)))

    def is_flagged(self, percent: float) -> bool:
        """The unexplained part is more than the tolerance."""
        return abs(self.unexplained_l) > self.tolerance_l(percent)

    def plus(self, other: "Balance") -> "Balance":
        """The same solvent over both periods."""
        names = self.__dataclass_fields__
        return Balance(**{name: getattr(self, name) + getattr(other, name) for name in names})


def shown_in(balance: Balance, steps_per_l: float) -> Shown:
    """A balance as it is shown: its parts rounded, and what is unexplained what they leave.

    So a reader who adds a row up finds that it closes, and so do sums of rows.
    """
    steps = {name: round(getattr(balance, name) * steps_per_l) for name in (*CAME, *WENT)}
    steps[UNEXPLAINED] = came(steps) - sum(steps[name] for name in WENT)
    return steps


def came(shown: Shown) -> int:
    """Everything that came in."""
    return sum(shown[name] for name in CAME)


def summed(some: Iterable[Shown]) -> dict[str, int]:
    """Several balances in one."""
    sums = dict.fromkeys((*CAME, *WENT, UNEXPLAINED), 0)
    for shown in some:
        for name, steps in shown.items():
            sums[name] += steps
    return sums
