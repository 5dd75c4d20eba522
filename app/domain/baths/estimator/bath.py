"""What is believed of one bath: a few hypotheses, each a Gaussian that hangs on the shared one.

Given the shared quantities the baths of a room are independent, so each bath keeps only its mean
as a linear function of them, and what is left of its covariance. An event of one bath then costs
the same in a room of one tank and in a room of sixty.
"""

import math
from dataclasses import dataclass

import numpy as np

from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import Array, Shared

RESIN, SOLVENT, EVAPORATION, HYDROMETER_BIAS, SENSOR_BIAS = range(5)
SIZE = 5
NEVER = -1e12  # days since 1970, before everything
WIDEST = 4.0  # a hypothesis' variance against the room's, beyond which it is not trusted


@dataclass(frozen=True, slots=True)
class Joint:
    """The shared quantities under each hypothesis of a bath, and the hypotheses' weights."""

    mean: Array
    covariance: Array
    weight: Array


class Bath:
    """The uncertain part of one bath.

    The state is resin (g), solvent (g), logarithm of the evaporation rate (fractions of a fill a
    day), biases of hydrometer and sensor (mass %). Under hypothesis k it is
    offset[k] + slope[k] @ shared + noise with covariance spread[k].

    Attributes:
        precision, pull: how the hypothesis' Gaussian of the shared quantities differs from the
            room's, as differences of precision and pull.
        score: logarithm of the weight, up to what the shared quantities say.
        is_slip: 1 where the last reading was a slip under the hypothesis.
        jumped_on: day since 1970 of the last washes that nobody logged.
        day: day since 1970 up to which time has passed for the bath.
    """

    def __init__(self, mean: Array, covariance: Array, shared_size: int, day: float) -> None:
        self.offset: Array = mean[None].copy()
        self.slope: Array = np.zeros((1, SIZE, shared_size))
        self.spread: Array = covariance[None].copy()
        self.precision: Array = np.zeros((1, shared_size, shared_size))
        self.pull: Array = np.zeros((1, shared_size))
        self.score: Array = np.zeros(1)
        self.is_slip: Array = np.zeros(1)
        self.jumped_on: Array = np.full(1, NEVER)
        self.day = day
        self._joint: tuple[int, Joint] | None = None

    def joint(self, shared: Shared) -> Joint:
        """The shared quantities as this bath's hypotheses see them."""
        if self._joint is None or self._joint[0] != shared.version:
            self._joint = shared.version, self._work_out(shared)
        return self._joint[1]

    def means(self, joint: Joint) -> Array:
        """Mean of the state under each hypothesis."""
        return self.offset + (self.slope @ joint.mean[:, :, None])[:, :, 0]

    def copy(self) -> "Bath":
        """A copy that goes its own way."""
        twin = Bath.__new__(Bath)
        twin.__dict__.update(self.__dict__)
        twin.offset, twin.slope = self.offset.copy(), self.slope.copy()
        twin.spread = self.spread.copy()
        return twin

    def grow(self) -> None:
        """Make room for one more shared quantity."""
        self.slope = np.pad(self.slope, ((0, 0), (0, 0), (0, 1)))
        self.precision = np.pad(self.precision, ((0, 0), (0, 1), (0, 1)))
        self.pull = np.pad(self.pull, ((0, 0), (0, 1)))
        self._joint = None

    def rest_on(self, shared: Shared, precision: Array, pull: Array, weight: Array) -> None:
        """Take each hypothesis' Gaussian and weight as differences from the room's."""
        precision = symmetric(precision)
        if len(weight) == 1:
            self.precision = np.zeros_like(precision)
            self.pull, self.score = np.zeros_like(pull), np.zeros(1)
        else:
            self.precision, self.pull = precision - shared.precision, pull - shared.pull
            _, evidence = _solve(precision, pull)
            self.score = np.log(weight) - evidence
        self._joint = None

    def _work_out(self, shared: Shared) -> Joint:
        mean, covariance = shared.moments()
        if len(self.score) == 1:
            return Joint(mean[None], covariance[None], np.ones(1))
        precision = shared.precision + self.precision
        pull = shared.pull + self.pull
        widest = WIDEST * np.diagonal(covariance)
        for _ in range(6):
            moments, evidence = _solve(precision, pull)
            if moments is not None and (_variances(moments[1]) <= widest).all():
                return Joint(*moments, _weights(self.score + evidence))
            # Other baths have moved the room away from what was split off here: hold less to it.
            precision = (precision + shared.precision) / 2
            pull = (pull + shared.pull) / 2
        count = len(self.score)
        return Joint(
            np.repeat(mean[None], count, 0), np.repeat(covariance[None], count, 0),
            _weights(self.score),
        )  # fmt: skip


def _solve(precision: Array, pull: Array) -> tuple[tuple[Array, Array] | None, Array]:
    """Moments of Gaussians, and the logarithm of their integrals; None where not a Gaussian."""
    try:
        root = np.linalg.cholesky(precision)
    except np.linalg.LinAlgError:
        return None, np.zeros(len(pull))
    covariance: Array = np.linalg.inv(precision)
    mean: Array = (covariance @ pull[:, :, None])[:, :, 0]
    ln_root = np.log(_variances(root)).sum(1)
    return (mean, covariance), (pull * mean).sum(1) / 2 - ln_root


def symmetric(matrices: Array) -> Array:
    """Each matrix made exactly symmetric, so that half of it can be stored."""
    return np.ascontiguousarray((matrices + matrices.swapaxes(-1, -2)) / 2)


def _variances(matrices: Array) -> Array:
    return np.diagonal(matrices, axis1=1, axis2=2)


def _weights(score: Array) -> Array:
    weight = np.exp(score - score.max())
    return np.asarray(weight / weight.sum())


def fresh_bath(
    settings: Settings, shared_size: int, day: float, fill_g: float, percent: float, rate: float
) -> Bath:
    """A bath as it is set up: `fill_g` of liquid holding `percent` resin; `rate` the solvent's
    evaporation a day."""
    resin_g = fill_g * percent / 100
    mean = np.array([resin_g, fill_g - resin_g, math.log(rate), 0.0, 0.0])
    resin_sd_g = fill_g * settings.given_saturation_sd_percent / 100 if percent > 0 else 0.0
    spread = np.diag(np.square([
        resin_sd_g, settings.to_mark_noise * fill_g, settings.evaporation_ln_sd,
        settings.hydrometer_bias_sd_percent, settings.sensor_bias_sd_percent,
    ]))  # fmt: skip
    return Bath(mean, spread, shared_size, day)
