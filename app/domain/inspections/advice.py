"""How often to look: the cost of looks weighed against unplanned stops.

The model is that of delay time (Christer and Waller 1984, from memory): wear becomes visible after
a part's life, which the room's own history gives, and stops the tank a while later unless a look
comes first. Assumed: the delay is exponential, a look finds all that is visible, and a worn part
is replaced at that look.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

MOST_SWAPS = 8


@dataclass(frozen=True)
class Assumptions:
    """What the site reckons with, in its currency and in days."""

    look_cents: int
    stop_cents: int
    delay_days: float
    swap_days: float


@dataclass(frozen=True)
class Interval:
    """Looking every so many swaps: cents a year, and the chance that wear stops the tank."""

    swaps: int
    cents_a_year: float
    missed_percent: float


def missed_share(between_days: float, delay_days: float) -> float:
    """Share of worn parts that stop the tank before a look: 1 - (h/T)(1 - exp(-T/h))."""
    ratio = between_days / delay_days
    return 1 - (1 - math.exp(-ratio)) / ratio


def intervals(mean_life_days: float, parts: int, given: Assumptions) -> list[Interval]:
    """The yearly cost of looking every swap, every second swap, and so on."""
    found = []
    worn_a_year = 365.25 * parts / mean_life_days
    for swaps in range(1, MOST_SWAPS + 1):
        between = swaps * given.swap_days
        missed = missed_share(between, given.delay_days)
        cost = 365.25 / between * given.look_cents + worn_a_year * missed * given.stop_cents
        found.append(Interval(swaps, cost, 100 * missed))
    return found


def cheapest(options: Sequence[Interval]) -> Interval:
    """The one that costs least; of equals the one that looks more often."""
    return min(options, key=lambda one: (one.cents_a_year, one.swaps))
