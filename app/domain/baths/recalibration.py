"""Widening or narrowing what a room's forecasts say until what they say so often comes so often.

The levels of a forecast's quantiles are exchanged for those at which this room's outcomes lay
(Kuleshov, Fenner, Ermon, Accurate uncertainties for deep learning using calibrated regression,
ICML 2018). Few outcomes must do little: the distribution of outcomes is the posterior mean of a
Dirichlet process around the forecasts as they are, (k F0 + sum of F_i)/(k + n) (Ferguson, Ann.
Statist. 1, 209, 1973), so that without outcomes nothing changes.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

PRIOR_FILLS = 15.0  # k: so many fills the forecasts as they are are worth
Z_90: Final = 1.2815515655446004  # 90 % quantile of the normal distribution
LEAST_Z, MOST_Z = 0.55, 2.05  # how near or far the outer levels may come, nominally 1.28
MOST_SHIFT = 0.5
LEAST_SD_PERCENT = 0.02
GRID: Final = np.linspace(-5.0, 5.0, 1001)


@dataclass(frozen=True)
class Levels:
    """At which levels of the paths' saturation this room's 10, 50 and 90 % lie, and 5 and 95 %.

    A limit is passed by a day where the bath stands above it then: its early day lies at the level
    `1 - high`.
    """

    least: float
    low: float
    middle: float
    high: float
    most: float

    @property
    def days(self) -> tuple[float, float, float]:
        """The levels of the early, the middle and the late day among the paths' days."""
        early, middle, late = (round(1 - level, 12) for level in (self.high, self.middle, self.low))
        return early, middle, late

    @property
    def fan(self) -> tuple[float, float, float]:
        """The levels of the band of 90 % and its middle."""
        return self.least, self.middle, self.most


NOMINAL = Levels(0.05, 0.10, 0.50, 0.90, 0.95)


@dataclass(frozen=True)
class Case:
    """A forecast saturation and what came, mass percent.

    Attributes:
        low, middle, high: its 10, 50 and 90 %.
        truth, truth_sd: what was measured, and how sure that is.
        weight: of the case; those of one fill have one together.
    """

    low: float
    middle: float
    high: float
    truth: float
    truth_sd: float
    weight: float = 1.0


def levels_of(cases: Sequence[Case], prior: float = PRIOR_FILLS) -> Levels:
    """The room's own levels.

    Each outcome is as wide as it is unsure: one that tells no more than the forecast did leaves it
    as it is.

    >>> levels_of([])
    Levels(least=0.05, low=0.1, middle=0.5, high=0.9, most=0.95)
    """
    if not cases:
        return NOMINAL
    whole = prior * _normal(GRID)
    weight = prior
    for case in cases:
        whole = whole + case.weight * _outcome(case)
        weight += case.weight
    share = np.maximum.accumulate(whole / weight)
    low, middle, high = (float(np.interp(level, share, GRID)) for level in (0.1, 0.5, 0.9))
    middle = min(max(middle, -MOST_SHIFT), MOST_SHIFT)
    low = min(max(low, -MOST_Z), -LEAST_Z)
    high = min(max(high, LEAST_Z), MOST_Z)
    # Of the 5 and 95 % too few outcomes can tell: they keep their distance to 10 and 90 %.
    outer = 1.6448536269514722 / Z_90
    figures = (low * outer, low, middle, high, high * outer)
    return Levels(*(_chance(z) for z in figures))


def _outcome(case: Case) -> NDArray[np.float64]:
    """The distribution of an outcome along the forecast's own scale, on which its 10 and 90 % lie
    at those of the normal distribution."""
    below = max(case.middle - case.low, LEAST_SD_PERCENT) / Z_90
    above = max(case.high - case.middle, LEAST_SD_PERCENT) / Z_90
    percent = case.middle + np.where(GRID < 0, below, above) * GRID
    return _normal((percent - case.truth) / max(case.truth_sd, LEAST_SD_PERCENT))


def _normal(z: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.interp(z, *_table())


@cache
def _table() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The normal distribution at close points: exact to 1e-7 between them."""
    z = np.linspace(-8.0, 8.0, 16_001)
    return z, np.array([_chance(one) for one in z.tolist()])


def _chance(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2))
