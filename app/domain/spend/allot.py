"""Splitting whole cents so that the parts add up to the whole."""

import math
from collections.abc import Hashable, Mapping, Sequence
from fractions import Fraction
from typing import TypeVar

Key = TypeVar("Key", bound=Hashable)


def allotted(cents: int, weights: Mapping[Key, float]) -> dict[Key, int]:
    """Cents in proportion to the weights, by the largest remainder (Hamilton's method).

    Ties go to the weight that comes first. Without any weight above zero nothing can be allotted
    and the answer is empty.

    >>> allotted(100, {"a": 1, "b": 1, "c": 1})
    {'a': 34, 'b': 33, 'c': 33}
    """
    parts = {key: Fraction(weight) for key, weight in weights.items() if weight > 0}
    whole = sum(parts.values())
    if not whole:
        return {}
    sign, amount = (-1, -cents) if cents < 0 else (1, cents)
    exact = {key: amount * part / whole for key, part in parts.items()}
    given = {key: math.floor(value) for key, value in exact.items()}
    left = amount - sum(given.values())
    order: Sequence[Key] = sorted(exact, key=lambda key: given[key] - exact[key])
    for key in order[:left]:
        given[key] += 1
    return {key: sign * value for key, value in given.items()}
