"""Possible futures of a bath: many paths of its masses, a step at a time."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator import Draws
from app.domain.baths.forecast import masses
from app.domain.baths.forecast.calendar import Steps
from app.domain.baths.forecast.loads import Loads
from app.domain.baths.forecast.pace import LEVEL_DAYS, LEVEL_LN_SD, Pace

Array = NDArray[np.float64]
Paths = NDArray[np.float32]

MARK_SD = 0.015
ENOUGH_PASSED_LIMIT, ENOUGH_PASSED_STOP = 0.99, 0.95
FIRST_LOOK_STEP = 7
LEAST_WASHES = 0.01


@dataclass(frozen=True)
class Upkeep:
    """What a bath is, and what is done to it beside washing.

    Attributes:
        capacity_l: volume to the upper mark.
        solvent_g_ml, resin_g_ml: densities.
        top_up_below_l: the bath is filled to the mark below this volume.
        removed_l_per_day: taken out on average.
        drag_out_ml_cm2: bath liquid that leaves with the parts.
    """

    capacity_l: float
    solvent_g_ml: float
    resin_g_ml: float
    top_up_below_l: float
    removed_l_per_day: float
    drag_out_ml_cm2: float


@dataclass(frozen=True)
class Until:
    """How far paths are walked.

    Attributes:
        percent: until nearly all have passed this saturation and the first limit, mass percent.
        passed: or until so many have passed the first limit: their days no longer change.
    """

    percent: float
    passed: int | None = None


@dataclass(frozen=True)
class Plans:
    """What is planned.

    Attributes:
        loads: by step, what its open plans bring: the resin's mean and variance, by path.
        covered_share: by step, the share of the usual washes that plans would already show.
    """

    loads: Mapping[int, tuple[Paths, Paths]]
    covered_share: Array


@dataclass(frozen=True)
class Futures:
    """What the paths did, one row a step, until nearly all had passed both limits.

    Attributes:
        before_percent, after_percent: saturation at the start of a step's washes and at its end.
        steps: the steps.
    """

    before_percent: Paths
    after_percent: Paths
    steps: Steps

    def passing_days(self, limit_percent: float) -> Array:
        """Days from now until each path first passes a limit; infinite where it does not."""
        days = np.full(self.after_percent.shape[1], np.inf)
        is_above = self.after_percent >= limit_percent
        step = is_above.argmax(axis=0)
        index = np.flatnonzero(is_above[step, np.arange(len(step))])
        step = step[index]
        before, after = self.before_percent[step, index], self.after_percent[step, index]
        share = (limit_percent - before) / np.maximum(after - before, 1e-6)
        days[index] = self.steps.days_ahead(step, np.clip(share, 0, 1).astype(np.float64))
        days[self.before_percent[0] >= limit_percent] = 0.0
        return days


class Walk:
    """The paths on their way: masses, level of work, a step at a time."""

    def __init__(
        self, draws: Draws, pace: Pace, loads: Loads, upkeep: Upkeep, rng: np.random.Generator
    ) -> None:
        self.rng, self.upkeep, self.pace = rng, upkeep, pace
        self.resin_g = draws.resin_g.astype(np.float32)
        self.solvent_g = draws.solvent_g.astype(np.float32)
        fill_g = 1000 * upkeep.capacity_l * upkeep.solvent_g_ml
        self.evaporated_g_per_day = (draws.evaporation_per_day * fill_g).astype(np.float32)
        self.wash_g = loads.mean_g.astype(np.float32)
        self.wash_cm2_per_g = (loads.mean_cm2 / np.maximum(loads.mean_g, 1e-9)).astype(np.float32)
        self.square_ratio = np.float32(loads.square_ratio)
        self._start_pace(len(draws.resin_g))
        self.resume_days = self._draw_resumption(len(draws.resin_g))
        self.days = 0.0
        n_paths = len(draws.resin_g)
        self._half = np.empty((2, (n_paths + 1) // 2), np.float32)
        self._both = np.empty((2, n_paths), np.float32)
        self._nothing = np.zeros(n_paths, np.float32)
        self._level_l: Paths | None = None

    def _start_pace(self, n_paths: int) -> None:
        root = np.linalg.cholesky(self.pace.covariance + 1e-12 * np.eye(2))
        base, level = root @ self.rng.standard_normal((2, n_paths))
        base_ln = max(self.pace.base_ln, -50.0)
        self.base_ln = (base + base_ln).astype(np.float32)
        self.level_ln = (level + self.pace.level_ln).astype(np.float32)

    def _draw_resumption(self, n_paths: int) -> Paths | None:
        """Days until work resumes: the longer a pause has lasted, the longer it may yet last.

        That it lasts x times as long again has the chance 1/(1 + x)^2.
        """
        if self.pace.pause_days <= 0:
            return None
        chance = self.rng.random(n_paths, dtype=np.float32)
        return np.asarray(self.pace.pause_days * ((1 - chance) ** -0.5 - 1))

    def percent(self) -> Paths:
        return masses.percent_of(self.resin_g, self.solvent_g)

    def level_l(self) -> Paths:
        if self._level_l is None:
            densities = (self.upkeep.resin_g_ml, self.upkeep.solvent_g_ml)
            self._level_l = masses.volume_l(self.resin_g, self.solvent_g, *densities)
        return self._level_l

    def top_up(self) -> bool:
        """Fill the paths that stand low to the mark; whether any did."""
        upkeep, level_l = self.upkeep, self.level_l()
        if float(level_l.min()) >= upkeep.top_up_below_l:
            return False
        added_l = masses.missing_l(level_l, upkeep.top_up_below_l, upkeep.capacity_l)
        self.solvent_g += added_l.astype(np.float32) * np.float32(1000 * upkeep.solvent_g_ml)
        self._level_l = None
        return True

    def load_g(self, washes: float, days: float, planned: tuple[Paths, Paths] | None) -> Paths:
        """Resin that a step's washes bring: a lognormal with their mean and variance."""
        noise = self._noise()
        keep = float(np.exp(-days / LEVEL_DAYS))
        spread = np.float32(LEVEL_LN_SD * np.sqrt(1 - keep**2))
        self.level_ln *= np.float32(keep)
        self.level_ln += np.multiply(noise[0], spread, out=noise[0])
        if washes < LEAST_WASHES and planned is None:
            return self._nothing
        mean = self.base_ln + self.level_ln
        np.exp(mean, out=mean)
        mean *= self.wash_g
        mean *= np.float32(washes)
        if self.resume_days is not None:
            mean *= np.clip((self.days + days - self.resume_days) / days, 0, 1)
        variance = mean * self.wash_g
        variance *= self.square_ratio
        if planned is not None:
            mean, variance = mean + planned[0], variance + planned[1]
        return _lognormal(mean, variance, noise[1])

    def _noise(self) -> Paths:
        """Two rows of standard normal numbers; the second half of the paths mirrors the first,
        which costs half and evens out."""
        half = self._half
        self.rng.standard_normal(dtype=np.float32, out=half)
        noise, n_half = self._both, half.shape[1]
        noise[:, :n_half] = half
        np.negative(half[:, : noise.shape[1] - n_half], out=noise[:, n_half:])
        return noise

    def step(self, load_g: Paths, days: float, growth: float = 1.0) -> None:
        """Let a step's washes, removals and evaporation happen; with `growth` the same parts bring
        in so many times as much."""
        upkeep = self.upkeep
        evaporated_g = np.float32(days) * self.evaporated_g_per_day
        removed_l = np.float32(days * upkeep.removed_l_per_day)
        if load_g is self._nothing and removed_l == 0:
            self.solvent_g = np.maximum(self.solvent_g - evaporated_g, 0.5 * self.solvent_g)
        else:
            out_l = load_g * self.wash_cm2_per_g
            out_l *= np.float32(upkeep.drag_out_ml_cm2 / 1000)
            out_l += removed_l
            kept = masses.kept_share(out_l, self.level_l())
            self.resin_g, self.solvent_g = masses.after_work(
                self.resin_g, self.solvent_g, kept, np.float32(growth) * load_g, evaporated_g
            )
        self._level_l = None
        self.days += days


def _lognormal(mean: Paths, variance: Paths, noise: Paths) -> Paths:
    """Draws with a mean and a variance each, from normal numbers; `variance` is used up."""
    ln_variance: Paths = np.divide(
        variance, np.maximum(mean * mean, np.float32(1e-12)), out=variance
    )
    ln_variance += 1
    np.log(ln_variance, out=ln_variance)
    drawn = np.sqrt(ln_variance)
    drawn *= noise
    ln_variance /= 2
    drawn -= ln_variance
    np.exp(drawn, out=drawn)
    drawn *= mean
    return drawn


def run(
    walk: Walk,
    steps: Steps,
    plans: Plans,
    limit_percent: float,
    until: Until,
    growth: Array | None = None,
) -> Futures:
    """Walk the paths `until` they need go no further, or to the end of the steps.

    `growth` says for each step how many times as much as today its washes bring.
    """
    before: list[Paths] = []
    after: list[Paths] = []
    passed = np.zeros(len(walk.resin_g), bool)
    for i, (days, washes) in enumerate(
        zip(steps.days.tolist(), steps.washes.tolist(), strict=True)
    ):
        is_changed = walk.top_up() if i > 0 else True
        before.append(walk.percent() if is_changed else after[-1])
        unplanned = washes * (1 - float(plans.covered_share[i]))
        load_g = walk.load_g(unplanned, days, plans.loads.get(i))
        walk.step(load_g, days, 1.0 if growth is None else float(growth[i]))
        after.append(walk.percent())
        if until.passed is not None:
            passed |= after[-1] >= limit_percent
            if np.count_nonzero(passed) >= until.passed:
                break
        elif i >= FIRST_LOOK_STEP and _enough(after[-1], limit_percent, until.percent):
            break
    return Futures(np.array(before), np.array(after), steps)


def _enough(percent: Paths, limit_percent: float, stop_percent: float) -> bool:
    """So many have passed that no quantile asked for can still change."""
    passed_stop = np.count_nonzero(percent >= stop_percent) / len(percent)
    if passed_stop < ENOUGH_PASSED_STOP:
        return False
    return bool(np.count_nonzero(percent >= limit_percent) >= ENOUGH_PASSED_LIMIT * len(percent))
