"""The mixture's mean, spread and quantiles."""

import math
from dataclasses import dataclass

import numpy as np

from app.domain.baths.estimator.bath import (
    HYDROMETER_BIAS,
    SENSOR_BIAS,
    SIZE,
    SOLVENT,
    WATER,
    Bath,
    Joint,
)
from app.domain.baths.estimator.readings import (
    MOST_PERCENT,
    saturation_percent,
    saturation_slope,
)
from app.domain.baths.estimator.shared import HYDROMETER, Array

ROOT2 = math.sqrt(2)
Z90 = 1.6448536269514722  # 95 % quantile of the normal distribution
WET_PERCENT = 0.7  # of water beyond the label: less does no harm


@dataclass(frozen=True, slots=True)
class Summary:
    """Mean, sd and 90 % band of a mixture of normal distributions."""

    mean: float
    sd: float
    p05: float
    p95: float


def summary(weights: list[float], means: list[float], sds: list[float]) -> Summary:
    """Of a mixture of normals.

    >>> summary([1.0], [5.0], [1.0]).p95
    6.644853626951472
    """
    mean = sum(w * m for w, m in zip(weights, means, strict=True))
    second = sum(w * (s * s + (m - mean) ** 2) for w, m, s in zip(weights, means, sds, strict=True))
    sd = math.sqrt(second)
    if len(weights) == 1:
        return Summary(mean, sd, mean - Z90 * sd, mean + Z90 * sd)
    parts = list(zip(weights, means, sds, strict=True))
    low, high = mean - Z90 * sd, mean + Z90 * sd
    return Summary(mean, sd, quantile(0.05, low, parts), quantile(0.95, high, parts))


def quantile(share: float, start: float, parts: list[tuple[float, float, float]]) -> float:
    """Where the distribution function of normals (weight, mean, sd) passes `share`.

    Newton's steps from `start`, held in a bracket.

    >>> round(quantile(0.05, 0.0, [(0.5, 3.0, 1.0), (0.5, 3.0, 1.0)]), 4)
    1.3551
    """
    low = min(m - 6 * s for _, m, s in parts)
    high = max(m + 6 * s for _, m, s in parts)
    at = min(max(start, low), high)
    for _ in range(60):
        below, density = _distribution(at, parts)
        if below > share:
            high = at
        else:
            low = at
        step = (below - share) / density if density > 1e-12 else math.inf
        following = at - step
        if not low < following < high:
            following = (low + high) / 2
        if abs(following - at) < 1e-6:
            return following
        at = following
    return at


def _distribution(at: float, parts: list[tuple[float, float, float]]) -> tuple[float, float]:
    below = density = 0.0
    for weight, mean, sd in parts:
        z = (at - mean) / sd
        below += weight * 0.5 * math.erfc(-z / ROOT2)
        density += weight * math.exp(-z * z / 2) / (sd * 2.5066282746310002)
    return below, density


@dataclass(frozen=True, slots=True)
class Glance:
    """What a bath looks like: saturation (mass %), volume (L), the instruments' biases and
    the solvent's water beyond its label (mass %) as (mean, sd), how likely there is more of it than
    `WET_PERCENT`, masses in grams."""

    saturation: Summary
    volume_l: tuple[float, float]
    hydrometer_bias: tuple[float, float]
    sensor_bias: tuple[float, float]
    water: tuple[float, float]
    wet_chance: float
    resin_g: float
    solvent_g: float


def glance(bath: Bath, joint: Joint, volume_weights: Array) -> Glance:
    """Look at a bath; `volume_weights` are litres in a gram of resin and of solvent."""
    mean = bath.means(joint)
    looks = np.zeros((len(mean), 5, SIZE))
    looks[:, 0] = saturation_slope(mean)
    looks[:, 1, :2] = volume_weights
    looks[:, 2, HYDROMETER_BIAS] = looks[:, 3, SENSOR_BIAS] = looks[:, 4, WATER] = 1.0
    along = looks @ bath.slope
    along[:, 2, HYDROMETER] += 1.0
    variance = ((looks @ bath.spread) * looks).sum(2) + ((along @ joint.covariance) * along).sum(2)
    value = (looks @ mean[:, :, None])[:, :, 0]
    value[:, 0] = saturation_percent(mean)
    value[:, 2] += joint.mean[:, HYDROMETER]
    middle = joint.weight @ value
    variance = variance.clip(1e-14)
    beyond = ((WET_PERCENT - value[:, 4]) / np.sqrt(2 * variance[:, 4])).tolist()
    wet_chance = sum(w * math.erfc(x) for w, x in zip(joint.weight.tolist(), beyond, strict=True))
    variance[:, 0] = variance[:, 0].clip(None, MOST_PERCENT**2)  # a bath all but empty
    sd = np.sqrt(joint.weight @ (variance + (value - middle) ** 2)).tolist()
    middle = middle.tolist()
    solvent_g = float(joint.weight @ mean[:, SOLVENT])
    band = summary(joint.weight.tolist(), value[:, 0].tolist(), np.sqrt(variance[:, 0]).tolist())
    low, high = sorted(min(max(edge, 0.0), MOST_PERCENT) for edge in (band.p05, band.p95))
    # An unlikely hypothesis far off draws the mean out of the band: it is never said outside it.
    low, high = min(low, band.mean), max(high, band.mean)
    return Glance(
        Summary(band.mean, band.sd, low, high), (middle[1], sd[1]), (middle[2], sd[2]),
        (middle[3], sd[3]), (middle[4], sd[4]), wet_chance / 2, bath.resin_g(joint), solvent_g,
    )  # fmt: skip
