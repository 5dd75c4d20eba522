"""Readings of one fill that cannot all be of the same bath."""

import math
from itertools import pairwise
from typing import Any

from app.domain.baths.estimator.facts import TankFacts

DAY, CHANNEL, PERCENT, BEFORE, SLIP, SD, TO_MARK, ENTRY_ID, MISSED = range(9)  # of a recent reading
RECENT = 6
REMEMBERED_DAYS = 30.0
SET_ASIDE_ABOVE = 0.5
SURELY_APART_SD = 3.0
LEAST_APART_PERCENT = 1.0
SWINGS = 3


def is_contradicted(facts: TankFacts, day: float) -> bool:
    """Whether the last readings, as they were taken, do not belong to one bath."""
    return facts.is_contradicted and day - facts.recent[-1][DAY] <= REMEMBERED_DAYS


def are_apart(facts: TankFacts, day: float, since: float = -math.inf) -> bool:
    """Whether the last readings do not belong to one bath.

    Two set aside that agree with each other and not with one between them, three of six set aside,
    or three swings one after another, each beyond what the instruments may be off. With `since`
    only readings after that day since 1970 are looked at.
    """
    recent = [one for one in _recent(facts, day) if one[DAY] > since]
    aside = [i for i, one in enumerate(recent) if one[SLIP] > SET_ASIDE_ABOVE]
    if len(aside) >= SWINGS:
        return True
    if len(aside) == 2 and aside[1] > aside[0] + 1:
        first, second = (recent[i][PERCENT] - recent[i][BEFORE] for i in aside)
        reach = SURELY_APART_SD * (recent[aside[0]][SD] + recent[aside[1]][SD])
        if first * second > 0 and abs(first - second) < reach + LEAST_APART_PERCENT:
            return True
    return _swings(recent) >= SWINGS


def other_shift_percent(facts: TankFacts, day: float) -> float:
    """How far the readings that were not believed lie from the estimate, mass percent."""
    recent = _recent(facts, day)
    off = [one[PERCENT] - one[BEFORE] for one in recent if one[SLIP] > SET_ASIDE_ABOVE]
    if not off:
        off = [max((one[PERCENT] - one[BEFORE] for one in recent), key=abs, default=0.0)]
    return float(sum(off) / len(off))


def _recent(facts: TankFacts, day: float) -> list[list[Any]]:
    return [one for one in facts.recent if day - one[DAY] <= REMEMBERED_DAYS]


def _swings(recent: list[list[Any]]) -> int:
    """Steps up and down in turn at the end of a row of readings.

    Of what each missed the foretold figure by: a bias that is known, or water, makes no step
    between two instruments.
    """
    count, last = 0, 0.0
    for one, following in pairwise(recent):
        step = following[MISSED] - one[MISSED]
        reach = SURELY_APART_SD * float((one[SD] ** 2 + following[SD] ** 2) ** 0.5)
        if abs(step) < reach + LEAST_APART_PERCENT:
            count, last = 0, 0.0
            continue
        count = count + 1 if step * last < 0 else 1
        last = step
    return count
