"""Calibration points as people type them: a line each, the scale's value and its resin."""

import re
from collections.abc import Iterable

from app.domain.errors import FieldError
from app.units import parse_number

FEWEST, MOST = 2, 50
Point = tuple[float, float]


def read_points(text: str) -> tuple[Point, ...]:
    """Pairs of scale value and resin in mass percent, from lines such as “18,5; 10”.

    Raises:
        FieldError: with the number and the fault of every line that does not fit.
    """
    points: list[Point] = []
    faults: list[str] = []
    for number, line in enumerate(text.splitlines(), 1):
        if not line.strip():
            continue
        try:
            points.append(_point(line))
        except FieldError as error:
            faults.append(f"Line {number}: {error.message}")
    if faults:
        raise FieldError("points", " ".join(faults))
    if not FEWEST <= len(points) <= MOST:
        raise FieldError("points", f"Give {FEWEST} to {MOST} samples, each on its own line.")
    return tuple(points)


def points_text(points: Iterable[Point], between: str = "\n") -> str:
    """The points as `read_points` takes them.

    >>> points_text([(18.5, 10.0), (20.0, 15.0)], " | ")
    '18.5; 10 | 20; 15'
    """
    return between.join(f"{value:.10g}; {percent:.10g}" for value, percent in points)


def _point(line: str) -> Point:
    parts = re.split(r"[;\t]", line.strip().rstrip(";"))
    if len(parts) != 2:
        raise FieldError("points", "Write the scale value, a semicolon and the resin in percent.")
    value, percent = (_number(part) for part in parts)
    if not 0 <= percent <= 100:
        raise FieldError("points", "The resin must be between 0 and 100 %.")
    return value, percent


def _number(text: str) -> float:
    # No scale here reaches a thousand: a comma can only be the decimal one.
    return parse_number(text.strip().removesuffix("%").replace(",", "."))
