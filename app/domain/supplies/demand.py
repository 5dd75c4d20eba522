"""How much of an item is used in a week, and how much that varies, learned from its ledger."""

from dataclasses import dataclass
from datetime import date

import numpy as np

from app.domain.supplies.state import ItemState, week_of

WEEKS_LOOKED_AT = 26  # half a year: long enough for the spread, short enough to follow the room
FEWEST_WEEKS = 4


@dataclass(frozen=True)
class Demand:
    """Use in a week, in the item's unit; from complete weeks only.

    Attributes:
        weeks: how many complete weeks it is learned from; 0 where there is none yet.
        per_week, sd_per_week: mean and standard deviation of all use.
        swaps_per_week, swaps_sd: of what was taken for swaps.
        other_per_week, other_sd: of everything else.
    """

    weeks: int = 0
    per_week: float = 0.0
    sd_per_week: float = 0.0
    swaps_per_week: float = 0.0
    swaps_sd: float = 0.0
    other_per_week: float = 0.0
    other_sd: float = 0.0

    @property
    def is_thin(self) -> bool:
        """Learned from so few weeks that its spread says little."""
        return self.weeks < FEWEST_WEEKS


def learn(state: ItemState, today: date) -> Demand:
    """The demand of an item from its last complete weeks, up to half a year of them.

    Weeks without use count as zero. The week under way is left out: it is not over. Until one is
    complete, no use is known (the least that a pace is told from: common practice, no source);
    while there is one, the spread is taken to be as large as the mean.
    """
    if state.first_week is None:
        return Demand()
    this_week = week_of(today)
    first = max(state.first_week, this_week - WEEKS_LOOKED_AT)
    count = this_week - first
    if count <= 0:
        return Demand()
    swaps, other = np.zeros(count), np.zeros(count)
    for week in state.weeks:
        if first <= week.week < this_week:
            swaps[week.week - first] = week.swaps
            other[week.week - first] = week.other
    total = swaps + other
    return Demand(
        count, float(total.mean()), _sd(total), float(swaps.mean()), _sd(swaps),
        float(other.mean()), _sd(other),
    )  # fmt: skip


def _sd(values: np.ndarray) -> float:
    return float(values.std(ddof=1)) if len(values) > 1 else float(values.mean())
