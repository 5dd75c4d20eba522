"""The course of a saturation, thinned so that it can be drawn or sent."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Protocol, TypeVar


class Point(Protocol):
    """The estimate after an entry."""

    @property
    def kind(self) -> str:
        """Kind of the entry."""

    @property
    def mean(self) -> float:
        """Mass percent."""


AnyPoint = TypeVar("AnyPoint", bound=Point)


def thinned(points: Sequence[AnyPoint], columns: int) -> list[AnyPoint]:
    """At most about four points a column: the first, the lowest, the highest and the last.

    So no peak or dip is hidden. The points of a swap are always kept.
    """
    if len(points) <= 4 * columns:
        return list(points)
    kept: list[AnyPoint] = []
    edges = [round(index * len(points) / columns) for index in range(columns + 1)]
    for first, last in pairwise(edges):
        column = points[first:last]
        chosen = {
            0,
            len(column) - 1,
            min(range(len(column)), key=lambda i: column[i].mean),
            max(range(len(column)), key=lambda i: column[i].mean),
            *(i for i, point in enumerate(column) if point.kind == "swap"),
        }
        kept += [column[i] for i in sorted(chosen)]
    return kept
