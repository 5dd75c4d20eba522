"""The order and the size in which a room's tanks are drawn: who needs somebody first, and large.

One upright screen of a tablet holds a room of any size: rows get smaller, then what is calm goes
together, and what finds no place is counted, one touch away. Heights are in rem of 16 px.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import product
from typing import Literal

from app.store.queries import TankView
from app.web import words
from app.web.rooms.gauge import Gauge

Size = Literal["large", "middle", "small"]
HEIGHTS: dict[Size, float] = {"large": 12.5, "middle": 7.5, "small": 5.7}
ROW = 5.7  # 88 px and the rule under it
LINE = 1.75  # a line of a target that holds several tanks
OTHER = 4.5  # a thing to do that is no tank's
STATION = 2.0
SCREEN = 80.0 - 6.5 - 2.0  # an upright tablet without the header and the line's name
NAMED = 10  # calm tanks that keep their name where not all do
WIDE = 78.0  # a tablet on its side
COLUMN, CALM_COLUMN, TEN, REST, STATION_COLUMN = 11.5, 6.0, 26.0, 9.0, 4.0
TRIES: tuple[tuple[Size, bool], ...] = (
    ("large", True), ("middle", True), ("middle", False), ("small", False),
)  # fmt: skip
"""How high a row is of who needs somebody, and whether the calm ones have rows of their own."""
ORDER: dict[str, int] = {
    "held": 0, "stop": 0, "over": 0, "soon": 1, "check": 2, "measure": 2, "swapping": 3,
}  # fmt: skip
"""Over, today, measure, begun; what is not here is calm."""


@dataclass(frozen=True)
class Vessel:
    """A tank as it stands on the board.

    Attributes:
        act, reason: what it needs first, and why; empty where it is calm.
        instead: a word in the picture where no level can be told.
        spoken: the picture in words.
    """

    tank: TankView
    gauge: Gauge
    state: words.State
    tag: str
    days_left: words.DaysLeft
    last: str
    act: str = ""
    reason: str = ""
    instead: str = ""
    spoken: str = ""

    @property
    def is_needy(self) -> bool:
        """Somebody has to do something at it."""
        return self.state in ORDER


@dataclass(frozen=True)
class Layout:
    """What stands in rows, and what goes together.

    Attributes:
        size: how high a row of `needy` is; their reason is left out where it is small.
        more: those who need somebody and find no row.
        rows: the calm ones in rows of their own; else `named` stand together, and `rest` unnamed.
        are_others_open: other things to do stand in rows, else behind one.
        is_wide: on a screen on its side all stand beside each other.
        has_key: there is room to say what the signs mean.
    """

    size: Size
    needy: Sequence[Vessel]
    more: Sequence[Vessel] = ()
    rows: Sequence[Vessel] = ()
    named: Sequence[Vessel] = ()
    rest: Sequence[Vessel] = ()
    are_others_open: bool = True
    is_wide: bool = True
    has_key: bool = False


def by_need(vessels: Sequence[Vessel]) -> list[Vessel]:
    """Over, today, measure, begun, each by how far; then the calm ones by their days."""
    return sorted(vessels, key=_place)


def laid_out(vessels: Sequence[Vessel], others: int, stations: int, problems: int = 0) -> Layout:
    """The largest drawing of them, in this order, that one upright screen holds."""
    needy = [one for one in vessels if one.is_needy]
    calm = [one for one in vessels if not one.is_needy]
    below = (max(ROW, STATION * stations) if stations else 0.0) + ROW * problems
    for (size, in_rows), is_open in product(TRIES, (True, False)):
        told = _others(others, is_open) + below + _calm(len(calm), in_rows)
        left = SCREEN - told - HEIGHTS[size] * len(needy)
        if left >= 0:
            return _layout(size, needy, calm, in_rows, is_open, stations, left > OTHER)
    left = SCREEN - _others(others, False) - below - _calm(len(calm), False) - ROW
    shown = max(1, int(left / ROW))
    found = _layout("small", needy[:shown], calm, False, False, stations, False)
    return Layout(
        "small", found.needy, needy[shown:], found.rows, found.named, found.rest, False, False
    )


def everything(vessels: Sequence[Vessel]) -> Layout:
    """Every tank in a row of its own, however long that gets."""
    needy = [one for one in vessels if one.is_needy]
    calm = [one for one in vessels if not one.is_needy]
    return Layout("middle", needy, rows=calm, is_wide=False, has_key=True)


def _layout(
    size: Size, needy: list[Vessel], calm: list[Vessel], in_rows: bool, is_open: bool,
    stations: int, has_key: bool,
) -> Layout:  # fmt: skip
    rows, together = (calm, []) if in_rows else ([], calm)
    named, rest = together[:NAMED], together[NAMED:]
    across = (
        COLUMN * len(needy) + CALM_COLUMN * len(rows) + (TEN if named else 0.0)
        + (REST if rest else 0.0) + STATION_COLUMN * stations
    )  # fmt: skip
    return Layout(size, needy, (), rows, named, rest, is_open, across <= WIDE, has_key)


def _calm(count: int, in_rows: bool) -> float:
    if in_rows:
        return ROW * count
    named, rest = min(count, NAMED), max(0, count - NAMED)
    return (max(ROW, LINE * named) if named else 0.0) + (ROW if rest else 0.0)


def _others(count: int, is_open: bool) -> float:
    return OTHER * count if is_open else (ROW if count else 0.0)


def _place(one: Vessel) -> tuple[int, float, float, int]:
    rank = ORDER.get(one.state, len(ORDER))
    due = one.tank.swap.due_at
    days = due.timestamp() if due else math.inf
    is_dated = rank == ORDER["soon"] or rank == len(ORDER)
    return (rank, days if is_dated else 0.0, -one.tank.of_limit(one.tank.mean_percent),
            one.tank.place)  # fmt: skip
