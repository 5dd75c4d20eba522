"""Splitting whole cents so that the parts add up to the whole."""

import math
from collections.abc import Hashable, Mapping, Sequence
from typing import TypeVar

Key = TypeVar("Key", bound=Hashable)


def allotted(cents: int, weights: Mapping[Key, float]) -> dict[Key, int]:
    """Cents in proportion to the weights, by the largest remainder (Hamilton's method).

    Ties go to the weight that comes first. Without any weight above zero nothing can be allotted
    and the answer is empty.

    >>> allotted(100, {"a": 1, "b": 1, "c": 1})
    {'a': 34, 'b': 33, 'c': 33}
    """
    ratios = {key: weight.as_integer_ratio() for key, weight in weights.items() if weight > 0}
    if not ratios:
        return {}
    shared = math.lcm(*(below for _, below in ratios.values()))
    parts = {key: above * (shared // below) for key, (above, below) in ratios.items()}
    whole = sum(parts.values())
    sign, amount = (-1, -cents) if cents < 0 else (1, cents)
    given, rest = {}, {}
    for key, part in parts.items():  # in whole numbers: nothing is lost to rounding
        given[key], rest[key] = divmod(amount * part, whole)
    order: Sequence[Key] = sorted(rest, key=lambda key: -rest[key])
    for key in order[: amount - sum(given.values())]:
        given[key] += 1
    return {key: sign * value for key, value in given.items()}
