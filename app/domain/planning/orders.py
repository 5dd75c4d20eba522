"""Solvent to order for the swaps ahead, in as few orders as their days allow."""

from collections.abc import Container, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from app.domain.planning.needs import containers_for
from app.domain.planning.readiness import Readiness
from app.domain.planning.stock import Fire, Solvent
from app.domain.workdays import WorkCalendar

TOGETHER_DAYS = 5  # working days: what has to be ordered within them is ordered at once


@dataclass(frozen=True)
class OrderToPlace:
    """Solvent to order.

    Attributes:
        missing_l: what the swaps lack; total_l: what the containers hold.
        by_on: the last day on which to order it; earliest_on: when it comes if ordered today.
        needed_on: the day the first of its swaps needs it.
        fits_l: what the fire area has room for when it comes, where that is less.
        is_for_later: only swaps after the next one of a tank need it, so that its day is rough.
    """

    solvent: str
    missing_l: float
    buy: tuple[tuple[float, int], ...]
    total_l: float
    by_on: date
    earliest_on: date
    needed_on: date
    tanks: tuple[str, ...]
    is_for_later: bool = False
    fits_l: float | None = None

    @property
    def is_late(self) -> bool:
        """It cannot come in time any more."""
        return self.earliest_on > self.needed_on


def within_the_fire_limit(
    orders: Sequence[OrderToPlace], fire: Fire, limit_l: float | None, burning: Container[str]
) -> list[OrderToPlace]:
    """The orders, each with what the fire area has room for on the day it is needed.

    Litres stay there when they go from a container into a bath and from there into a drum: only
    a booked pickup takes them out. `burning` are the solvents that are flammable liquids.
    """
    found, ordered_l = [], 0.0
    for order in orders:
        if limit_l is None or order.solvent not in burning:
            found.append(order)
            continue
        day = max(order.needed_on, order.earliest_on)
        come_l = sum(litres for on, litres in fire.deliveries if on <= day)
        gone_l = sum(litres for on, litres in fire.pickups if on < day)
        there_l = fire.tanks_l + fire.fresh_l + fire.waste_l + come_l - gone_l + ordered_l
        left_l = max(0.0, limit_l - there_l)
        found.append(order if order.total_l <= left_l + 1e-6 else replace(order, fits_l=left_l))
        ordered_l += order.total_l
    return found


def orders_to_place(
    found: Sequence[Readiness], solvents: Mapping[str, Solvent], workdays: WorkCalendar
) -> list[OrderToPlace]:
    """What to order, the most urgent first; what one order leaves over counts for the next.

    Swaps after a tank's next one come last, and in orders of their own: they are rough.
    """
    short = [
        (swap.round > 0, line.act_by_on, one.by_on, place, one.swap.tank, line)
        for place, one in enumerate(found)
        for swap in (one.swap,)
        if (line := one.line("solvent")) is not None and line.state == "short"
        if line.act_by_on is not None and one.by_on is not None
    ]
    short.sort(key=lambda each: each[:4])
    orders = []
    for key in dict.fromkeys(each[5].key for each in short):
        mine, over_l = [each for each in short if each[5].key == key], 0.0
        while mine:
            is_later, first_on = mine[0][:2]
            until_on = workdays.later(first_on, TOGETHER_DAYS)
            now = [each for each in mine if each[0] == is_later and each[1] <= until_on]
            mine = mine[len(now) :]
            missing_l = sum(line.missing for *_, line in now)
            sizes_l = solvents[key].sizes_l if key in solvents else ()
            bought = containers_for(missing_l - over_l, sizes_l)
            over_l += bought.total_l - missing_l
            _, by_on, needed_on, *_, line = now[0]
            if bought.total_l > 0 and line.earliest_on is not None:
                orders.append(
                    OrderToPlace(
                        key, missing_l, bought.counts, bought.total_l, by_on, line.earliest_on,
                        needed_on, tuple(dict.fromkeys(tank for *_, tank, _ in now)), is_later,
                    )
                )  # fmt: skip
    return sorted(orders, key=lambda order: (order.is_for_later, order.by_on, order.solvent))
