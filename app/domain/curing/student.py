"""Quantiles of Student's t distribution, for intervals of a fitted line."""

import math

STEPS = 2000


def two_sided(share: float, freedom: int) -> float:
    """The t that the given share of the distribution lies within, of `freedom` degrees.

    The distribution function comes from Simpson's rule on the density, in the angle
    theta = arctan(t / sqrt(freedom)), where the density is a power of a cosine (Abramowitz and
    Stegun, Handbook of Mathematical Functions, 26.7, from memory).

    Raises:
        ValueError: no degree of freedom, or a share that is none.
    """
    if freedom < 1 or not 0 < share < 1:
        raise ValueError("a share between 0 and 1 and at least one degree of freedom")
    low, high = 0.0, math.pi / 2
    for _ in range(60):
        middle = (low + high) / 2
        if _within(middle, freedom) < share:
            low = middle
        else:
            high = middle
    return math.sqrt(freedom) * math.tan((low + high) / 2)


def _within(angle: float, freedom: int) -> float:
    """The share of the distribution between minus and plus that angle."""
    log_scale = math.lgamma((freedom + 1) / 2) - math.lgamma(freedom / 2)
    scale = math.exp(log_scale) / math.sqrt(math.pi)
    power, step = freedom - 1, angle / STEPS
    total = 1.0 + math.cos(angle) ** power
    total += sum((4 if i % 2 else 2) * math.cos(i * step) ** power for i in range(1, STEPS))
    return 2 * scale * total * step / 3
