"""Days proposed for the swaps to come.

A swap aims at the last working day before the early day of its forecast. Each working day before
that gives away some of the bath; from the early day on each costs more, by the working days on
which parts are expected to come out of a bath past its limit. What is pinned stands; the others get
the days that cost least together (assignment.py).
"""

from bisect import bisect_left, bisect_right
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta, tzinfo
from types import MappingProxyType

import numpy as np

from app.domain.planning.assignment import NEVER, Costs, cheapest_days
from app.domain.planning.chance import Chances, cost_of_days
from app.domain.planning.days import ONE, starts_at
from app.domain.workdays import WorkCalendar

WEEKS, MOST_WEEKS = 8, 26
NO_WAITS: "Waits" = MappingProxyType({})
EARLIER = 1_000  # a working day of the bath's life given away
LATE = 100_000  # not before the early day
DAY_PAST = 50_000  # a working day with parts from a bath past its limit
ORDER = 100  # a day's waiting by place in the queue: decides between equals only
PLACE = 10**8  # a place in the queue: who is left without a day stands last in it
SHORTEST_LIFE_DAYS = 2


@dataclass(frozen=True)
class Candidate:
    """A swap to find a day for.

    Attributes:
        rank: its place in the queue, from 0.
        early_on: early day of the forecast; today or before where the limit is passed.
        due_on: middle day, or the day its life ends.
        chances: that the limit is passed, by instant.
        pair: the other tank of its pair, not to be swapped on the same day.
        pinned_on, not_before_on: what was decided.
        life_days, early_life_days: from fill to limit in the middle and early case, for the swaps
            after this one; None where it is not known.
    """

    tank: str
    rank: int
    early_on: date | None
    due_on: date | None
    chances: Chances
    pair: str | None = None
    pinned_on: date | None = None
    not_before_on: date | None = None
    life_days: float | None = None
    early_life_days: float | None = None


@dataclass(frozen=True)
class Rules:
    """What a schedule keeps to.

    Attributes:
        per_day: swaps that can be done on a day.
    """

    today: date
    workdays: WorkCalendar
    per_day: int
    zone: tzinfo
    weeks: int = WEEKS

    @property
    def last(self) -> date:
        """The last day looked at."""
        return self.today + timedelta(weeks=min(self.weeks, MOST_WEEKS)) - ONE

    @property
    def days(self) -> list[date]:
        """The working days looked at."""
        return self.workdays.days(self.today, self.last)


@dataclass(frozen=True)
class Wait:
    """A day before which a swap cannot be, and what it waits for: `solvent` or `drum`."""

    day: date
    subject: str


Waits = Mapping[tuple[str, int], Wait]
"""By tank and round."""


@dataclass(frozen=True)
class Proposal:
    """The day proposed for a swap.

    Attributes:
        day: None where no day is left within the weeks looked at.
        round: 0 for the bath of now, 1 for the one after it, and so on; those are rough.
        chance: that parts come out of the bath past its limit before that day.
        warnings: `late` (not before the early day), `over_capacity`, `not_working`, `with_pair`.
        share: the chance that it falls into the weeks looked at; the next swap counts whole.
        waits_for, waits_until: what keeps it from an earlier day, and until when.
    """

    tank: str
    rank: int
    day: date | None
    round: int
    early_on: date | None
    due_on: date | None
    is_pinned: bool
    chance: float
    warnings: tuple[str, ...] = ()
    share: float = 1.0
    waits_for: str = ""
    waits_until: date | None = None


@dataclass(frozen=True)
class Schedule:
    """The proposals by day, then by rank; those without a day last.

    Attributes:
        is_cheapest: it was shown that no other days cost less.
    """

    proposals: tuple[Proposal, ...]
    is_cheapest: bool

    def of(self, tank: str) -> Proposal | None:
        """The next swap of a tank; None where none falls into the weeks looked at."""
        return next((p for p in self.proposals if p.tank == tank and p.round == 0), None)


def schedule(candidates: Sequence[Candidate], rules: Rules, waits: Waits = NO_WAITS) -> Schedule:
    """Days for the swaps of the weeks to come, the later rounds of each tank included; none before
    the day it waits for, unless somebody set it."""
    plan = _Plan(rules, waits)
    turn, number = _in_turn(candidates, rules), 0
    while turn:
        chosen = plan.place(turn, number)
        again = (_next(c, chosen[c.tank], rules) for c in turn)
        turn, number = [c for c in again if c is not None and _falls(c, rules)], number + 1
    return plan.schedule()


def next_days(candidates: Sequence[Candidate], rules: Rules, waits: Waits = NO_WAITS) -> Schedule:
    """Days for the next swap of each tank alone: those that `schedule` gives them, in less time."""
    plan = _Plan(rules, waits)
    plan.place(_in_turn(candidates, rules), 0)
    return plan.schedule()


def costs_of(candidate: Candidate, rules: Rules, days: Sequence[date]) -> list[int]:
    """What a swap costs on each working day."""
    early_on = candidate.early_on or date.max
    target = bisect_left(days, early_on) - 1  # the last working day before the early day
    later = cost_of_days(candidate.chances, days, rules.zone)
    borne = later[target].days_past if target >= 0 else 0.0
    costs = []
    for place, one in enumerate(later):
        cost = max(0, ORDER - candidate.rank) * place
        if one.day >= early_on:
            cost += LATE + round(DAY_PAST * (one.days_past - borne))
        elif candidate.early_on is not None:
            cost += EARLIER * (target - place)
        if candidate.not_before_on is not None and one.day < candidate.not_before_on:
            cost = NEVER
        costs.append(cost)
    return costs


def _in_turn(candidates: Sequence[Candidate], rules: Rules) -> list[Candidate]:
    """The swaps that belong into the weeks looked at, in their order."""
    return sorted((c for c in candidates if _falls(c, rules)), key=lambda c: (c.rank, c.tank))


def _falls(candidate: Candidate, rules: Rules) -> bool:
    """Whether a swap belongs into the weeks looked at."""
    day = candidate.pinned_on or candidate.not_before_on or candidate.early_on
    return day is not None and day <= rules.last


class _Plan:
    """The days given so far."""

    def __init__(self, rules: Rules, waits: Waits) -> None:
        self.rules = rules
        self.waits = waits
        self.days = rules.days
        self.on_day: Counter[date] = Counter()
        self.of_tank: dict[str, set[date]] = {}
        self.proposals: list[Proposal] = []
        self.is_cheapest = True

    def place(self, turn: Sequence[Candidate], number: int) -> dict[str, date | None]:
        """One swap for each of these tanks: first those that are pinned, then the others."""
        chosen: dict[str, date | None] = {}
        for c in turn:
            if c.pinned_on is not None:
                # A pin that has passed stands for today: the swap was not done.
                chosen[c.tank] = self._take(c.tank, max(c.pinned_on, self.rules.today))
        free = [c for c in turn if c.pinned_on is None]
        for c, day in zip(free, self._cheapest(free, number), strict=True):
            chosen[c.tank] = day
        for c in free:
            if (day := chosen[c.tank]) is not None:
                self._take(c.tank, day)
        self.proposals += [self._proposal(c, chosen[c.tank], number) for c in turn]
        return chosen

    def schedule(self) -> Schedule:
        """What was placed so far."""
        ordered = sorted(
            self.proposals, key=lambda p: (p.day is None, p.day or date.max, p.rank, p.tank)
        )
        return Schedule(tuple(ordered), self.is_cheapest)

    def _take(self, tank: str, day: date) -> date:
        self.on_day[day] += 1
        self.of_tank.setdefault(tank, set()).add(day)
        return day

    def _cheapest(self, free: Sequence[Candidate], number: int) -> list[date | None]:
        if not free or not self.days:
            return [None] * len(free)
        left = [max(0, self.rules.per_day - self.on_day[day]) for day in self.days]
        best = cheapest_days(self._costs(free, number), left, _apart(free))
        self.is_cheapest &= best.is_cheapest
        return [None if place is None else self.days[place] for place in best.chosen]

    def _costs(self, free: Sequence[Candidate], number: int) -> Costs:
        costs = np.array([costs_of(c, self.rules, self.days) for c in free], dtype=np.int64)
        for row, c in enumerate(free):
            of_pair, own = self.of_tank.get(c.pair or "", set()), self.of_tank.get(c.tank)
            costs[row, [place for place, day in enumerate(self.days) if day in of_pair]] = NEVER
            if own:  # the swaps of a tank follow one another
                costs[row, : bisect_right(self.days, max(own))] = NEVER
            if (wait := self.waits.get((c.tank, number))) is not None:
                costs[row, : bisect_left(self.days, wait.day)] = NEVER
            costs[row] += PLACE * row
        return costs

    def _proposal(self, c: Candidate, day: date | None, number: int) -> Proposal:
        chance = c.chances.by_day([day or self.rules.last], self.rules.zone)[0]
        wait = None if c.pinned_on is not None else self.waits.get((c.tank, number))
        return Proposal(
            c.tank, c.rank, day, number, c.early_on, c.due_on, c.pinned_on is not None, chance,
            () if day is None else self._warnings(c, day), self._share(c, number),
            *(("", None) if wait is None else (wait.subject, wait.day)),
        )  # fmt: skip

    def _share(self, c: Candidate, number: int) -> float:
        """The chance that a later swap falls into the weeks looked at."""
        if number == 0:
            return 1.0
        return c.chances.at(starts_at(self.rules.last + ONE, self.rules.zone))

    def _warnings(self, c: Candidate, day: date) -> tuple[str, ...]:
        found = {
            "late": c.early_on is not None and day >= c.early_on,
            "over_capacity": self.on_day[day] > self.rules.per_day,
            "not_working": not self.rules.workdays.is_working(day),
            "with_pair": day in self.of_tank.get(c.pair or "", set()),
        }
        return tuple(word for word, holds in found.items() if holds)


def _apart(free: Sequence[Candidate]) -> list[tuple[int, int]]:
    rows = {c.tank: row for row, c in enumerate(free)}
    pairs = {(row, rows[c.pair]) for row, c in enumerate(free) if c.pair in rows}
    return sorted((a, b) for a, b in pairs if a < b or (b, a) not in pairs)


def _next(candidate: Candidate, day: date | None, rules: Rules) -> Candidate | None:
    """The swap after this one, a bath's life later, where its life is known."""
    if day is None or candidate.life_days is None:
        return None
    life = max(SHORTEST_LIFE_DAYS, round(candidate.life_days))
    early_life = min(life, max(SHORTEST_LIFE_DAYS, round(candidate.early_life_days or life)))
    early_on, due_on = day + timedelta(early_life), day + timedelta(life)
    reach = max(ONE, due_on - early_on)
    points = (
        (day, 0.0), (early_on, 0.1), (due_on, 0.5), (due_on + reach, 0.9),
        (due_on + 2 * reach, 1.0),
    )  # fmt: skip
    course = Chances(tuple((starts_at(one, rules.zone), chance) for one, chance in points))
    return replace(
        candidate, early_on=early_on, due_on=due_on, pinned_on=None, not_before_on=None,
        chances=course,
    )  # fmt: skip
