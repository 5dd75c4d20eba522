"""When to order and how much: reorder point, safety stock, economic quantity, containers.

Silver, Pyke and Peterson, Inventory Management and Production Planning and Scheduling (from
memory): demand in the lead time taken as normal. Use for swaps is lumpy, so that the run-out day
(outlook.py) counts the known swaps one by one.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist, mean, stdev
from typing import Literal

from app.domain.workdays import WorkCalendar

FEWEST_DELIVERIES = 3
USUAL_SERVICE_PERCENT = 95.0  # common practice, no source
USUAL_LEAD_DAYS = 7.0  # common practice, no source
USUAL_HOLDING_PERCENT = 25.0  # common practice, no source
WEEKS_A_YEAR = 52.0

LeadSource = Literal["learned", "item", "site", "assumed"]


@dataclass(frozen=True)
class Lead:
    """How long deliveries take, in calendar days, and how much that varies.

    Attributes:
        source: learned from the supplier's deliveries, entered for the item, the site's setting,
            or assumed.
        deliveries: how many it is learned from.
        working_days: the same in working days, where it was said in them.
    """

    days: float
    sd_days: float
    source: LeadSource
    deliveries: int = 0
    working_days: int | None = None

    def comes_on(self, placed_on: date, workdays: WorkCalendar, slack_days: float = 0.0) -> date:
        """The working day on which an order comes that is placed on a day, so many days late."""
        placed_on = workdays.on_or_after(placed_on)
        if self.working_days is None:
            return workdays.on_or_after(_later(placed_on, self.days + slack_days))
        usual_on = workdays.later(placed_on, self.working_days)
        return workdays.on_or_after(_later(usual_on, slack_days))

    def place_by(self, needed_on: date, workdays: WorkCalendar, slack_days: float = 0.0) -> date:
        """The last working day on which to place an order that comes by a day, so many days late
        at the most."""
        if self.working_days is None:
            day = needed_on - timedelta(days=_whole(self.days + slack_days))
        else:
            day = needed_on - timedelta(days=_whole(slack_days))
            day = workdays.earlier(day, self.working_days)
        day = workdays.on_or_before(day)
        while self.comes_on(day, workdays, slack_days) > needed_on:
            day = workdays.on_or_before(day - timedelta(days=1))
        return day


def _whole(days: float) -> int:
    """Days rounded up; a lead time that reaches beyond any calendar is cut to ten years."""
    return min(3650, math.ceil(days - 1e-9))


def _later(day: date, days: float) -> date:
    return day + timedelta(days=_whole(days))


def z_of(service_percent: float) -> float:
    """The standard normal quantile of a chance, as the number of deviations to keep."""
    return NormalDist().inv_cdf(service_percent / 100)


def safety_stock(
    per_week: float, sd_per_week: float, lead_weeks: float, lead_sd_weeks: float, z: float
) -> float:
    """z sqrt(L sd^2 + d^2 sL^2), in the item's unit."""
    return z * math.sqrt(lead_weeks * sd_per_week**2 + per_week**2 * lead_sd_weeks**2)


def reorder_point(
    per_week: float, sd_per_week: float, lead_weeks: float, lead_sd_weeks: float, z: float
) -> float:
    """d L + safety stock: what must be on hand and on order when an order is placed."""
    return per_week * lead_weeks + safety_stock(per_week, sd_per_week, lead_weeks, lead_sd_weeks, z)


def economic_quantity(
    per_year: float, order_cost_cents: float, unit_cents: float, holding_percent: float
) -> float:
    """sqrt(2 A D / (v r)): the quantity at which ordering costs as much as keeping.

    Raises:
        ValueError: nothing is used, or neither ordering nor keeping costs anything.
    """
    keeping = unit_cents * holding_percent / 100
    if per_year <= 0 or order_cost_cents <= 0 or keeping <= 0:
        raise ValueError("an economic quantity needs demand, a cost of ordering and of keeping")
    return math.sqrt(2 * order_cost_cents * per_year / keeping)


def lead_of(
    delivered_days: Sequence[int],
    item_days: float | None,
    item_sd_days: float | None,
    site_days: float | None,
    site_working_days: int | None = None,
) -> Lead:
    """The lead time: from at least three deliveries of the supplier, else as it was entered."""
    count = len(delivered_days)
    if count >= FEWEST_DELIVERIES:
        return Lead(mean(delivered_days), stdev(delivered_days), "learned", count)
    sd_days = item_sd_days or 0.0
    if item_days is not None:
        return Lead(item_days, sd_days, "item", count)
    if site_days is not None:
        return Lead(site_days, sd_days, "site", count, site_working_days)
    return Lead(USUAL_LEAD_DAYS, sd_days, "assumed", count)


@dataclass(frozen=True)
class Containers:
    """So many containers of one size."""

    size: float
    count: int


def containers_for(quantity: float, sizes: Sequence[float]) -> tuple[Containers, ...]:
    """Containers that hold at least `quantity` with the least over, then the fewest of them."""
    if quantity <= 0 or not sizes:
        return ()
    counts = _cover(quantity, tuple(sorted(sizes, reverse=True)))[2]
    ordered = sorted(sizes, reverse=True)
    return tuple(Containers(s, n) for s, n in zip(ordered, counts, strict=True) if n)


def containers_within(limit: float, sizes: Sequence[float]) -> tuple[Containers, ...]:
    """Containers that hold at most `limit`, the large ones first."""
    found = []
    for size in sorted(sizes, reverse=True):
        count = math.floor(limit / size + 1e-9)
        if count > 0:
            found.append(Containers(size, count))
            limit -= count * size
    return tuple(found)


def held_in(containers: Sequence[Containers]) -> float:
    """What they hold together."""
    return sum(one.size * one.count for one in containers)


def _cover(quantity: float, sizes: tuple[float, ...]) -> tuple[float, int, tuple[int, ...]]:
    """Total, number of containers, and their counts by size: the best found."""
    size, rest = sizes[0], sizes[1:]
    whole = math.floor(quantity / size + 1e-9)
    enough = math.ceil(quantity / size - 1e-9)
    best = (round(enough * size, 6), enough, (enough, *(0,) * len(rest)))
    if not rest:
        return best
    for count in {whole, max(0, whole - 1)}:
        left = quantity - count * size
        if left <= 1e-9:
            continue
        total, more, counts = _cover(left, rest)
        best = min(best, (round(total + count * size, 6), more + count, (count, *counts)))
    return best
