"""How long parts last: Kaplan-Meier and Weibull from inspections, those still in service counted.

Times are in days. Sources: product-limit estimate, Kaplan and Meier 1958; variance, Greenwood 1926;
interval on the log(-log) scale, Kalbfleisch and Prentice. Likelihood with censoring: an exact time
counts as f(t), one still in service as S(t), one between two looks as S(l) - S(r).
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Z95 = 1.959963984540054
FEWEST_FOR_FIT = 5  # failures; common practice, no source
STEEPEST = 4.0  # log beta; beyond it the likelihood grows without bound
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Lifetime:
    """One part.

    Attributes:
        days: when it was found worn out, or how long it has served so far.
        is_worn: it was found worn out; otherwise it is censored at `days`.
        good_days: when it was last seen in order; None where `days` is exact.
    """

    days: float
    is_worn: bool
    good_days: float | None = None


@dataclass(frozen=True)
class Step:
    """The share still in service after a time, with its 95 % interval."""

    days: float
    at_risk: int
    worn: int
    survival: float
    low: float
    high: float


@dataclass(frozen=True)
class Weibull:
    """S(t) = exp(-(t/eta)^beta), with 95 % intervals from the observed information."""

    eta_days: float
    beta: float
    eta_low: float
    eta_high: float
    beta_low: float
    beta_high: float

    @property
    def mean_days(self) -> float:
        """Mean life: eta Gamma(1 + 1/beta)."""
        return self.eta_days * math.gamma(1 + 1 / self.beta)

    def survival(self, days: float) -> float:
        """Share still in service after so many days."""
        return math.exp(-((days / self.eta_days) ** self.beta))

    def percentile_days(self, worn_percent: float) -> float:
        """When so many percent are worn out: B10 for 10."""
        return float(self.eta_days * (-math.log(1 - worn_percent / 100)) ** (1 / self.beta))

    def chance_within(self, days: float, age_days: float) -> float:
        """Chance that a part of that age wears out within the next days."""
        start, end = age_days / self.eta_days, (age_days + days) / self.eta_days
        return float(1 - math.exp(start**self.beta - end**self.beta))


def kaplan_meier(lives: Sequence[Lifetime]) -> list[Step]:
    """The product-limit curve, one step for each time at which parts were found worn out."""
    ordered = sorted(lives, key=lambda life: life.days)
    survival, variance, steps = 1.0, 0.0, []
    for days in sorted({life.days for life in ordered if life.is_worn}):
        at_risk = sum(life.days >= days for life in ordered)
        worn = sum(life.is_worn and life.days == days for life in ordered)
        survival *= 1 - worn / at_risk
        if at_risk > worn:
            variance += worn / (at_risk * (at_risk - worn))
        low, high = _log_log_interval(survival, variance)
        steps.append(Step(days, at_risk, worn, survival, low, high))
    return steps


def median_days(steps: Sequence[Step]) -> float | None:
    """The first time at which half or less are still in service; None where that is not reached."""
    return next((step.days for step in steps if step.survival <= 0.5), None)


def _log_log_interval(survival: float, variance: float) -> tuple[float, float]:
    if not 0 < survival < 1:
        return 0.0, 0.0 if survival <= 0 else 1.0
    width = Z95 * math.sqrt(variance) / math.log(survival)
    low, high = survival ** math.exp(-width), survival ** math.exp(width)
    return min(low, high), max(low, high)


def fit_weibull(lives: Sequence[Lifetime]) -> Weibull | None:
    """The Weibull of greatest likelihood; None with too few worn out, or where none is found."""
    if sum(life.is_worn for life in lives) < FEWEST_FOR_FIT:
        return None
    gradient = _gradient_of(lives)
    start = np.array([math.log(float(np.mean([life.days for life in lives]))), 0.2])
    point = _newton(gradient, start)
    if point is None:
        return None
    try:
        spread = np.linalg.inv(-_jacobian(gradient, point))
    except np.linalg.LinAlgError:
        return None
    if not (np.all(np.isfinite(spread)) and spread[0, 0] > 0 and spread[1, 1] > 0):
        return None
    eta, beta = (_interval(float(point[i]), float(spread[i, i])) for i in (0, 1))
    return Weibull(eta[0], beta[0], eta[1], eta[2], beta[1], beta[2])


def _interval(log_value: float, variance: float) -> tuple[float, float, float]:
    width = Z95 * math.sqrt(variance)
    return math.exp(log_value), math.exp(log_value - width), math.exp(log_value + width)


def _gradient_of(lives: Sequence[Lifetime]) -> Callable[[Floats], Floats]:
    """The score in (log eta, log beta), as a function of them."""
    exact = np.array([x.days for x in lives if x.is_worn and x.good_days is None])
    right = np.array([x.days for x in lives if not x.is_worn])
    between = [x for x in lives if x.is_worn and x.good_days is not None]
    low = np.array([x.good_days for x in between], dtype=float)
    high = np.array([x.days for x in between], dtype=float)

    def score(point: Floats) -> Floats:
        beta = math.exp(point[1])

        def powers(days: Floats) -> tuple[Floats, Floats]:
            with np.errstate(divide="ignore"):
                z = beta * (np.log(days) - point[0])
            return z, np.exp(np.minimum(z, 600.0))

        z, u = powers(exact)
        total = np.array([np.sum((1 - u) * -beta), np.sum(1 + (1 - u) * z)])
        z, u = powers(right)
        total += np.array([np.sum(u * beta), -np.sum(u * z)])
        return np.asarray(total + _between_score(beta, powers(low), powers(high)))

    return score


def _between_score(beta: float, low: tuple[Floats, Floats], high: tuple[Floats, Floats]) -> Floats:
    """The part of those worn out between two looks; a first look at 0 gives S = 1, no slope."""
    (zl, ul), (zr, ur) = low, high
    sl, sr = np.exp(-ul), np.exp(-ur)
    share = np.maximum(sl - sr, 1e-300)
    zl = np.where(np.isfinite(zl), zl, 0.0)  # at 0 days u is 0, and u z as well
    by_eta = (sl * ul - sr * ur) * beta / share
    by_beta = (sr * ur * zr - sl * ul * zl) / share
    return np.array([np.sum(by_eta), np.sum(by_beta)])


def _newton(gradient: Callable[[Floats], Floats], point: Floats) -> Floats | None:
    for _ in range(200):
        slope = gradient(point)
        if not np.all(np.isfinite(slope)) or abs(point[1]) > STEEPEST:
            return None
        curve = _jacobian(gradient, point)
        # Where the likelihood is not bent downwards, climb the slope instead.
        is_peaked = curve[0, 0] < 0 and float(np.linalg.det(curve)) > 0
        step: Any = -np.linalg.solve(curve, slope) if is_peaked else slope / len(slope)
        size = float(np.max(np.abs(step)))
        point = point + (step if size <= 0.5 else step * (0.5 / size))
        if size < 1e-10:
            return point
    return point if float(np.max(np.abs(gradient(point)))) < 1e-6 else None


def _jacobian(gradient: Callable[[Floats], Floats], point: Floats) -> Floats:
    step, columns = 1e-5, []
    for i in range(2):
        shift = np.zeros(2)
        shift[i] = step
        columns.append((gradient(point + shift) - gradient(point - shift)) / (2 * step))
    return np.asarray((np.array(columns) + np.array(columns).T) / 2)
