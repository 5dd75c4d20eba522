"""Quantiles of Student's t distribution, for intervals of a fitted line."""

import math


def two_sided(share: float, freedom: int) -> float:
    """The t that the given share of the distribution lies within, of `freedom` degrees.

    The distribution function is the finite sum for whole degrees of freedom in the angle
    theta = arctan(t / sqrt(freedom)) (Abramowitz and Stegun, Handbook of Mathematical Functions,
    26.7.3 and 26.7.4, from memory; held against another library in its test).

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
    cosine, sine = math.cos(angle), math.sin(angle)
    is_odd = freedom % 2 == 1
    if freedom == 1:
        return 2 * angle / math.pi
    term = total = cosine if is_odd else 1.0
    for step in range(2 if is_odd else 1, freedom - 2, 2):
        term *= step / (step + 1) * cosine * cosine
        total += term
    return 2 / math.pi * (angle + sine * total) if is_odd else sine * total
