"""What a reading taken now would be worth: by how much it would narrow the days of a swap.

Readings are drawn from what the filter expects; each weighs the forecast's paths by how well they
foretell it, which is the filter's own conditioning done on its samples (importance weights:
Menzies, Med. Decis. Making 36, 308, 2016; from memory). All readings share one set of paths, so
that they differ by what they say and not by chance.
"""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator import BathBelief, RoomFilter
from app.domain.baths.estimator.shown import Shown
from app.domain.baths.forecast.outlook import HORIZON_DAYS, N_PATHS, simulate
from app.domain.baths.forecast.paths import Until

Array = NDArray[np.float64]

READINGS = 25  # so many ways in which a reading may turn out
LITTLE_DAYS, LITTLE_SHARE = 1.0, 0.15  # what is less is no reason to take one
STRIDE = 7  # pairs figure and scatter of the readings so that neither follows the other


@dataclass(frozen=True)
class Worth:
    """What one reading would be worth.

    Attributes:
        method: the instrument.
        now_days, then_days: from the early to the late day, as forecast now, and once the reading
            is in, as half of the ways in which it may turn out leave at most; what lies beyond a
            year counts as a year.
    """

    method: str
    now_days: float
    then_days: float

    @property
    def narrows_days(self) -> float:
        """By how many days the range would shrink, 0 where by none."""
        return max(self.now_days - self.then_days, 0.0)

    @property
    def is_worthwhile(self) -> bool:
        """It would shrink by enough to plan otherwise."""
        return self.narrows_days >= max(LITTLE_DAYS, LITTLE_SHARE * self.now_days)


def worth_of_readings(
    room: RoomFilter, belief: BathBelief, rng: np.random.Generator
) -> tuple[Worth, ...]:
    """What a reading by each usable instrument would be worth, the best first; empty where the
    limit is passed already."""
    limit = belief.limit_percent
    if belief.mean_percent >= limit:
        return ()
    draws = room.draw(belief.tank, belief.at, N_PATHS, rng, with_shown=True)
    futures = simulate(room, belief, rng, HORIZON_DAYS, until=Until(limit), draws=draws)
    days = np.minimum(futures.passing_days(limit), HORIZON_DAYS)
    early, _, late = room.record.levels.days
    found = [
        Worth(method, *ranges_days(days, shown, early, late))
        for method, shown in draws.shown.items()
    ]
    return tuple(sorted(found, key=lambda one: (one.then_days, one.method)))


def ranges_days(days: Array, shown: Shown, early: float, late: float) -> tuple[float, float]:
    """From the early to the late day: over all paths, and after a middling one of the readings."""
    order = np.argsort(days, kind="stable")
    weights = weights_of(shown)[:, order]
    now = np.full((1, len(days)), 1 / len(days))
    return (
        float(_range(days[order], now, early, late)[0]),
        float(np.median(_range(days[order], weights, early, late))),
    )


def weights_of(shown: Shown) -> Array:
    """What each path weighs after each of the readings that are likely, a row a reading."""
    off = (readings_of(shown)[:, None] - shown.percent[None, :]) / shown.noise_percent
    right = np.exp(-off * off / 2) / (shown.noise_percent * np.sqrt(2 * np.pi))
    weights = (1 - shown.slip_chance) * right + shown.slip_chance / shown.slip_span_percent
    found: Array = weights / weights.sum(axis=1, keepdims=True)
    return found


def readings_of(shown: Shown) -> Array:
    """Readings as they are likely to turn out, mass percent: what is shown, and scatter."""
    ranks = (np.arange(READINGS) + 0.5) / READINGS
    z = np.array([NormalDist().inv_cdf(rank) for rank in ranks.tolist()])
    scatter = shown.noise_percent * z[(STRIDE * np.arange(READINGS)) % READINGS]
    return np.asarray(np.quantile(shown.percent, ranks) + scatter)


def _range(days: Array, weights: Array, early: float, late: float) -> Array:
    """From one level to the other of each row of weights; `days` in rising order."""
    below = weights.cumsum(axis=1)
    last = len(days) - 1
    first, second = (days[np.minimum((below < level).sum(axis=1), last)] for level in (early, late))
    found: Array = second - first
    return found
