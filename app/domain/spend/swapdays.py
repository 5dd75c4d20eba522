"""The days on which a room would swap its baths, chosen as the plan chooses them.

A swap aims at the last working day before its early day; each working day before that is given
away, no day from then on is taken while another is free (planning/scheduling.py). For all paths at
once this is found by filling days from the last back. Where the two baths of a pair would meet on a
day, the plan's own costs and its search for the cheapest days decide.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from app.domain.planning.assignment import cheapest_days
from app.domain.planning.chance import Chances
from app.domain.planning.days import starts_at
from app.domain.planning.scheduling import Candidate, Rules, costs_of
from app.domain.workdays import WorkCalendar

Whole = NDArray[np.int64]

NOT_SEEN = 10_000  # the limit is not met within the days looked at
NO_DAY = -1
MONDAY = date(2024, 1, 1)


@dataclass(frozen=True)
class Crew:
    """Who swaps, and when.

    Attributes:
        weekdays: working days after ISO 8601, Monday is 1.
        per_day: swaps that can be done on a day.
        pairs: rows of baths that are not swapped on the same day.
    """

    weekdays: frozenset[int]
    per_day: int
    pairs: Sequence[tuple[int, int]] = ()


def swap_days(early: Whole, due: Whole, first: date, look: int, crew: Crew) -> Whole:
    """The day of each bath's next swap by path, counted from `first`; `NO_DAY` where none is due.

    Args:
        early, due: by bath and path, the days on which the limit is met early and in the middle.
        look: days looked at, whole weeks.
    """
    working = np.array(
        [n for n in range(look) if (first + timedelta(n)).isoweekday() in crew.weekdays]
    )
    is_due = early < look
    target = np.maximum(np.searchsorted(working, early, side="left") - 1, 0)
    order = np.where(is_due, -early, NOT_SEEN)
    place = _latest_free(target, is_due, order, len(working), crew.per_day)
    short = np.flatnonzero((is_due & (place == NO_DAY)).any(axis=0))
    if len(short):
        some = target[:, short], is_due[:, short], -order[:, short]
        place[:, short] = _latest_free(*some, len(working), crew.per_day)
    for path in short:
        _late_ones(place[:, path], early[:, path], is_due[:, path], len(working), crew.per_day)
    for path in np.flatnonzero(_has_clash(place, crew)):
        rows = np.flatnonzero(is_due[:, path])
        found = _cheapest(rows, early[:, path], due[:, path], first, look, crew)
        place[rows, path] = [NO_DAY if one is None else one for one in found]
    return np.where(place == NO_DAY, NO_DAY, working[place])


def _latest_free(
    target: Whole, is_due: NDArray[np.bool_], order: Whole, working: int, per_day: int
) -> Whole:
    """The latest free working day up to each target, the last days given away first.

    With a price on each day given away, no other choice costs less: the sum of days is largest when
    each slot, from the last back, goes to any swap that may still take it. Of several the one of
    the lowest order gets the later day: the one that is early due last, as the plan has it. Where
    not all find a day it is the other way round, so that those left over are due last.
    """
    place = np.full(target.shape, NO_DAY, dtype=np.int64)
    for day in range(working - 1, -1, -1):
        may = is_due & (place == NO_DAY) & (target >= day)
        if not may.any():
            continue
        rows = np.argsort(np.where(may, order, NOT_SEEN + 1), axis=0, kind="stable")[:per_day]
        taken = np.take_along_axis(may, rows, axis=0)
        kept = np.take_along_axis(place, rows, axis=0)
        np.put_along_axis(place, rows, np.where(taken, day, kept), axis=0)
    return place


def _late_ones(
    place: Whole, early: Whole, is_due: NDArray[np.bool_], working: int, per_day: int
) -> None:
    """Those that no day up to their target is free for: the first free days, the most urgent
    first; those that find none wait for the next look ahead."""
    free = per_day - np.bincount(place[place >= 0], minlength=working)
    waiting = np.flatnonzero(is_due & (place == NO_DAY))
    slots = np.repeat(np.arange(working), np.maximum(free, 0))[: len(waiting)]
    for row, day in zip(waiting[np.argsort(early[waiting], kind="stable")], slots, strict=False):
        place[row] = day


def _has_clash(place: Whole, crew: Crew) -> NDArray[np.bool_]:
    """Paths in which both baths of a pair stand on a day."""
    clash = np.zeros(place.shape[1], dtype=bool)
    for one, other in crew.pairs:
        clash |= (place[one] == place[other]) & (place[one] != NO_DAY)
    return clash


def _cheapest(
    rows: Whole, early: Whole, due: Whole, first: date, look: int, crew: Crew
) -> tuple[int | None, ...]:
    asked = first.isoweekday(), look, crew.weekdays
    costs = np.array([_costs(int(early[row]), int(due[row]), *asked) for row in rows])
    place = {int(row): n for n, row in enumerate(rows)}
    apart = [(place[a], place[b]) for a, b in crew.pairs if a in place and b in place]
    return cheapest_days(costs, [crew.per_day] * costs.shape[1], apart).chosen


@lru_cache(maxsize=8192)
def _costs(
    early: int, due: int, weekday: int, look: int, weekdays: frozenset[int]
) -> tuple[int, ...]:
    """What the plan lets a swap cost on each working day, by the days on which it is due.

    Its course is what the plan gives to those whose life alone is known; those early due come
    first in the queue.
    """
    first = MONDAY + timedelta(weekday - 1)
    rules = Rules(first, WorkCalendar(weekdays), 1, UTC, look // 7)
    early_on, due_on = first + timedelta(early), first + timedelta(due)
    late_on = due_on + (due_on - early_on)
    points = ((first, 0.0), (early_on, 0.1), (due_on, 0.5), (late_on, 0.9))
    course = Chances(tuple((starts_at(day, UTC), chance) for day, chance in points))
    return tuple(costs_of(Candidate("", early, early_on, due_on, course), rules, rules.days))
