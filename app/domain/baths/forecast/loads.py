"""What a wash brings: how much resin and how much wet surface, for each path."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator import Draws
from app.domain.baths.habits import Habits

Array = NDArray[np.float64]

SIZE_HALF_LIFE_DAYS = 28.0
WASH_LN_SD = 0.32
SIZE_PRIOR_CV = 0.6
MEASURES = ("area_cm2", "mass_g", "parts")


class Sized(Protocol):
    """A load as logged or planned; where it is sized in several ways the first one counts."""

    @property
    def resin(self) -> str: ...
    @property
    def area_cm2(self) -> float | None: ...
    @property
    def mass_g(self) -> float | None: ...
    @property
    def parts(self) -> int | None: ...


@dataclass(frozen=True)
class Loads:
    """Loads of one kind of wash.

    Attributes:
        mean_g: resin that a wash brings on average, by path.
        mean_cm2: wet surface of a wash on average, by path.
        square_ratio: mean square of a wash's resin against the square of its mean.
    """

    mean_g: Array
    mean_cm2: Array
    square_ratio: float


@dataclass(frozen=True)
class CarryIn:
    """For each path: grams of resin, and cm2, for one cm2, gram or part of a resin's load."""

    resins: tuple[str, ...]
    grams: dict[str, Array]
    cm2: tuple[Array, Array, Array]

    def group(self, load: Sized) -> tuple[str, int, float]:
        """Resin, index of the measure, and size of a load."""
        for index, measure in enumerate(MEASURES):
            size = getattr(load, measure)
            if size is not None:
                return load.resin, index, float(size)
        raise ValueError("a load has at least one size")

    def of(self, groups: dict[tuple[str, int], float]) -> tuple[Array, Array]:
        """Resin and surface of summed sizes, by path."""
        grams = np.zeros_like(self.cm2[1])
        cm2 = np.zeros_like(self.cm2[1])
        for (resin, measure), size in groups.items():
            area = size * self.cm2[measure]
            cm2 += area
            grams += area * self.grams[resin]
        return grams, cm2


def carry_in(draws: Draws, names: Sequence[str]) -> CarryIn:
    """The filter's draws of carry-in; a resin it does not know carries in as the others do."""
    known = {name: np.exp(draws.ln_carry_in_g_cm2[:, i]) for i, name in enumerate(draws.resins)}
    usual = np.exp(draws.ln_carry_in_g_cm2.mean(axis=1)) if known else None
    grams = {}
    for name in names:
        one = known.get(name, usual)
        grams[name] = np.zeros(len(draws.resin_g)) if one is None else one
    one_cm2 = np.ones(len(draws.resin_g))
    units = (one_cm2, np.exp(draws.ln_cm2_per_g), np.exp(draws.ln_cm2_per_part))
    return CarryIn(tuple(names), grams, units)


def usual_loads(habits: Sequence[Habits], carried: CarryIn, rng: np.random.Generator) -> Loads:
    """The loads of recent washes, later ones counting more.

    The mean of few washes is itself uncertain: each path draws its own.
    """
    past = [load for one in habits for load in one.loads]
    n_paths = len(carried.cm2[0])
    if not past:
        return Loads(np.zeros(n_paths), np.zeros(n_paths), 1.0)
    today = max(load.day for load in past)
    weights = np.array([0.5 ** ((today - load.day) / SIZE_HALF_LIFE_DAYS) for load in past])
    weights /= weights.sum()
    groups: dict[tuple[str, int], float] = {}
    typical = np.empty(len(past))
    middle_cm2 = [float(cm2.mean()) for cm2 in carried.cm2]
    middle_g = {resin: float(grams.mean()) for resin, grams in carried.grams.items()}
    for i, load in enumerate(past):
        resin, measure, size = carried.group(load)
        groups[resin, measure] = groups.get((resin, measure), 0.0) + weights[i] * size
        typical[i] = size * middle_cm2[measure] * middle_g[resin]
    mean_g, mean_cm2 = carried.of(groups)
    spread = _relative_variance(weights, typical)
    factor = _draw_mean(spread * float((weights**2).sum()), n_paths, rng)
    ratio = (1 + spread) * math.exp(WASH_LN_SD**2)
    return Loads(mean_g * factor, mean_cm2 * factor, ratio)


def _relative_variance(weights: Array, sizes: Array) -> float:
    """Of the sizes against their mean squared, held towards a usual one while they are few."""
    mean = float((weights * sizes).sum())
    if mean <= 0:
        return SIZE_PRIOR_CV**2
    seen = float((weights * (sizes / mean - 1) ** 2).sum())
    effective = 1 / float((weights**2).sum())
    return (effective * seen + 3 * SIZE_PRIOR_CV**2) / (effective + 3)


def _draw_mean(relative_variance: float, n_paths: int, rng: np.random.Generator) -> Array:
    ln_sd = math.sqrt(math.log1p(relative_variance))
    return np.asarray(np.exp(ln_sd * rng.standard_normal(n_paths) - ln_sd**2 / 2))
