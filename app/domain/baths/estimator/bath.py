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

RESIN, SOLVENT, EVAPORATION, HYDROMETER_BIAS, SENSOR_BIAS, FEED, WATER = range(7)
SIZE = 7
SWAP, TOP_UP, ENTRY, DIRTY_FILL, PAIR = range(5)
FINDINGS = 5
NEVER = -1e12  # days since 1970, before everything


@dataclass(frozen=True, slots=True)
class Joint:
    """The shared quantities under each hypothesis of a bath, and the hypotheses' weights."""

    mean: Array
    covariance: Array
    weight: Array


class Bath:
    """The uncertain part of one bath.

    The state is resin (g), solvent (g), logarithm of the evaporation rate (fractions of a fill a
    day), biases of hydrometer and sensor (mass %), share by which the film of a pair's dirty bath
    holds more than was thought, water in the solvent beyond that of its label or of the fill's
    fresh reading (mass %). Under hypothesis k it is
    offset[k] + slope[k] @ shared + noise with covariance spread[k].

    Attributes:
        shift, shape: mean and covariance of the shared quantities under the hypothesis, measured
            from the room's mean in units of the room's own scatter. So they stay sensible when
            another bath's reading moves the room, and on average they are the room's.
        weight: of each hypothesis.
        is_slip: 1 where the last reading was a slip under the hypothesis.
        jumped_on: day since 1970 when washes that nobody logged last came to light, and
            `missing_from` the day of the reading before, after which they happened.
        found_on: day since 1970 when a swap or a top-up that nobody logged, a wrong entry, a fill
            that was not fresh last came to light under the hypothesis; of `PAIR` the day since
            which the bath is the clean one of a pair that nobody has told of.
        read_on: day since 1970 of the last reading that was no slip, or of the fill.
        day: day since 1970 up to which time has passed for the bath.
    """

    def __init__(self, mean: Array, covariance: Array, shared_size: int, day: float) -> None:
        self.offset: Array = mean[None].copy()
        self.slope: Array = np.zeros((1, SIZE, shared_size))
        self.spread: Array = covariance[None].copy()
        self.shift: Array = np.zeros((1, shared_size))
        self.shape: Array = np.eye(shared_size)[None]
        self.weight: Array = np.ones(1)
        self.is_slip: Array = np.zeros(1)
        self.jumped_on: Array = np.full(1, NEVER)
        self.missing_from: Array = np.full(1, NEVER)
        self.found_on: Array = np.full((1, FINDINGS), NEVER)
        self.read_on: Array = np.full(1, day)
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

    def resin_g(self, joint: Joint) -> float:
        """Mean mass of resin; under each hypothesis it is at least nothing."""
        return float(joint.weight @ np.maximum(self.means(joint)[:, RESIN], 0.0))

    def hold_resin_positive(self, joint: Joint) -> None:
        """Leave no negative mass of resin behind where a reading or a level has said so."""
        short_g = -self.means(joint)[:, RESIN]
        if (short_g > 0).any():
            self.offset[:, RESIN] += np.maximum(short_g, 0.0)

    def copy(self) -> "Bath":
        """A copy that goes its own way."""
        twin = Bath.__new__(Bath)
        twin.__dict__.update(self.__dict__)
        twin.offset, twin.slope = self.offset.copy(), self.slope.copy()
        twin.spread = self.spread.copy()
        return twin

    def split(self, chance: float, column: int) -> None:
        """Every hypothesis twice, the second time with that chance and a mark in `found_on`."""
        names = ("offset", "slope", "spread", "shift", "shape", "is_slip", "jumped_on",
                 "missing_from", "found_on", "read_on")  # fmt: skip
        count = len(self.weight)
        for name in names:
            part = getattr(self, name)
            setattr(self, name, np.concatenate([part, part]))
        self.weight = np.concatenate([(1 - chance) * self.weight, chance * self.weight])
        self.found_on[count:, column] = self.day
        self._joint = None

    def keep(self, which: Array, shared: Shared) -> None:
        """Only these hypotheses, a mask over all, are left; the room becomes what they say."""
        joint = self.joint(shared)
        mean, covariance, weight = joint.mean[which], joint.covariance[which], joint.weight[which]
        names = ("offset", "slope", "spread", "is_slip", "jumped_on", "missing_from", "found_on",
                 "read_on")  # fmt: skip
        for name in names:
            setattr(self, name, getattr(self, name)[which])
        self._weigh(mean, covariance, weight, shared)

    def tilt(self, factors: Array, shared: Shared) -> None:
        """Something else than a reading speaks for each hypothesis so many times more."""
        joint = self.joint(shared)
        self._weigh(joint.mean, joint.covariance, joint.weight * factors, shared)

    def _weigh(self, mean: Array, covariance: Array, weight: Array, shared: Shared) -> None:
        weight = weight / weight.sum()
        shared.match(mean, covariance, weight)
        self.rest_on(shared, mean, covariance, weight)

    def grow(self) -> None:
        """Make room for one more shared quantity."""
        self.slope = np.pad(self.slope, ((0, 0), (0, 0), (0, 1)))
        self.shift = np.pad(self.shift, ((0, 0), (0, 1)))
        self.shape = np.pad(self.shape, ((0, 0), (0, 1), (0, 1)))
        self.shape[:, -1, -1] = 1.0
        self._joint = None

    def rest_on(self, shared: Shared, mean: Array, covariance: Array, weight: Array) -> None:
        """Take the shared quantities under each hypothesis, and the weights, from the room's."""
        self.weight, self._joint = weight, None
        if len(weight) == 1:
            self.shift, self.shape = np.zeros_like(mean), np.eye(shared.size)[None]
            return
        back = np.linalg.inv(shared.root)
        self.shift = np.ascontiguousarray((mean - shared.mean) @ back.T)
        self.shape = symmetric(back @ covariance @ back.T)

    def _work_out(self, shared: Shared) -> Joint:
        if len(self.weight) == 1:
            return Joint(shared.mean[None], shared.covariance[None], self.weight)
        root = shared.root
        mean = shared.mean + self.shift @ root.T
        return Joint(mean, root @ self.shape @ root.T, self.weight)


def symmetric(matrices: Array) -> Array:
    """Each matrix made exactly symmetric, so that half of it can be stored."""
    return np.ascontiguousarray((matrices + matrices.swapaxes(-1, -2)) / 2)


def fresh_bath(
    settings: Settings, shared_size: int, day: float, fill_g: float, percent: float, rate: float
) -> Bath:
    """A bath as it is set up: `fill_g` of liquid holding `percent` resin; `rate` the solvent's
    evaporation a day."""
    resin_g = fill_g * percent / 100
    mean = np.array([resin_g, fill_g - resin_g, math.log(rate), 0.0, 0.0, 0.0, 0.0])
    resin_sd_g = fill_g * settings.given_saturation_sd_percent / 100 if percent > 0 else 0.0
    spread = np.diag(np.square([
        resin_sd_g, settings.to_mark_noise * fill_g, settings.evaporation_ln_sd,
        settings.hydrometer_bias_sd_percent, settings.sensor_bias_sd_percent,
        0.0, settings.water_sd_percent,
    ]))  # fmt: skip
    return Bath(mean, spread, shared_size, day)
