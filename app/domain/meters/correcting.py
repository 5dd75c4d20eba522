"""Taking off what an instrument shows too much, and what is unsure about that.

The measurand is what the instrument shows less the offset of its certificate, so the standard
uncertainty of that offset goes with it (JCGM 100:2008, F.2.4.5 and 5.1.2; from memory).
"""

import math
from collections.abc import Callable, Iterable, Mapping

from app.domain.errors import DomainError
from app.domain.meters.sorts import Sort


def in_quadrature(*parts: float) -> float:
    """Independent standard uncertainties together: u = sqrt(sum u_i^2) (JCGM 100:2008, 5.1.2).

    >>> round(in_quadrature(25, 9.7, 2.9, 16.6))
    32
    """
    return math.hypot(*parts)


def taken_off(values: Mapping[str, float], sort: Sort, offset: float) -> dict[str, float]:
    """What a reading would show without the offset; each figure in the unit of its field."""
    return {
        name: value - offset if name in sort.corrects else value for name, value in values.items()
    }


def spread_by(
    values: Mapping[str, float],
    fields: Iterable[str],
    uncertainty: float,
    result: Callable[[Mapping[str, float]], float],
) -> float:
    """Standard uncertainty of a result by that of the figures it is worked out from.

    The result is evaluated a standard uncertainty above and below each figure and half of the
    difference taken (JCGM 100:2008, 5.1.3, note 2); the figures together in quadrature. Where the
    result cannot be evaluated, the figure adds nothing.
    """
    if uncertainty == 0:
        return 0.0
    return in_quadrature(
        *(_half(values, name, uncertainty, result) for name in fields if name in values)
    )


def _half(
    values: Mapping[str, float],
    name: str,
    by: float,
    result: Callable[[Mapping[str, float]], float],
) -> float:
    try:
        above = result({**values, name: values[name] + by})
        below = result({**values, name: values[name] - by})
    except DomainError:
        return 0.0
    return abs(above - below) / 2


def light_taken_off(mw_cm2: float, offset_percent: float) -> float:
    """What a UV meter would show were it right; its offset is a share of what is there.

    >>> round(light_taken_off(20.8, 4.0), 6)
    20.0
    """
    return mw_cm2 / (1 + offset_percent / 100)
