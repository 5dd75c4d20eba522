"""When the shelf runs out of an item: use as usual, known swaps, deliveries to come, spoiling.

Days are counted from today, day 0. The early and the late day are those of a quick and a slow use:
ten of a hundred courses are faster, ten slower.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from app.domain.supplies.demand import Demand
from app.domain.supplies.state import ItemState
from app.domain.supplies.valuation import rounded

HORIZON_DAYS = 400
TEN_PERCENT_Z = 1.2816
EXPIRING_DAYS = 30
TINY = 0.01  # litres, pieces: below it nothing is missing, for no form shows it

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class ComingUse:
    """A swap to come and what it takes of the item, in the item's unit.

    Attributes:
        due_on: the day it is due; early_on, late_on: the range of that day.
    """

    tank: str
    name: str
    quantity: float
    due_on: date
    early_on: date
    late_on: date


@dataclass(frozen=True)
class RunOut:
    """The day on which nothing is left: early, expected, late. None: not within the horizon."""

    early_on: date | None
    expected_on: date | None
    late_on: date | None


@dataclass(frozen=True)
class Threat:
    """The first swap to come for which too little of the item will be there.

    Attributes:
        needed: what that swap takes; short: what of it will be missing.
        cured_on: the day from which on the orders on their way cover it; None where they do not.
    """

    tank: str
    name: str
    due_on: date
    needed: float
    short: float
    cured_on: date | None = None


@dataclass(frozen=True)
class LotOutlook:
    """A lot that spoils.

    Attributes:
        spoils: what of it will not be used by then, as use goes on as usual.
    """

    lot: str
    use_by: date
    quantity: float
    spoils: float
    is_expired: bool


class Course:
    """How an item's stock goes on from today, day by day up to the horizon."""

    def __init__(
        self, state: ItemState, demand: Demand, coming: Sequence[ComingUse], today: date,
        arrivals: Sequence[tuple[date, float]] = (),
    ) -> None:  # fmt: skip
        self._state = state
        self._arrivals = arrivals
        self._today = today
        self._demand = demand
        self._coming = coming
        self._days = np.arange(HORIZON_DAYS + 1, dtype=np.float64)
        self._uses: dict[float, Floats] = {}
        self._stocks: dict[bool, Floats] = {}
        self.lots = self._spoiling()

    def run_out(self, with_orders: bool) -> RunOut:
        """The day on which nothing is left, with or without what is on order."""
        stock = self._stock(with_orders)
        return RunOut(
            self._first_empty(stock - self._use(TEN_PERCENT_Z, "early_on")),
            self._first_empty(stock - self._use(0.0, "due_on")),
            self._first_empty(stock - self._use(-TEN_PERCENT_Z, "late_on")),
        )

    def threat(self, until: date, since: date | None = None) -> Threat | None:
        """The first swap from a day up to another that will lack some of the item, deliveries
        counted."""
        stock = self._stock(with_orders=True)
        other = self._demand.other_per_week / 7
        taken = 0.0
        for use in sorted(self._coming, key=lambda one: one.due_on):
            day = self._place(use.due_on)
            there = max(0.0, float(stock[day]) - other * day - taken)
            is_asked = use.due_on <= until and (since is None or use.due_on >= since)
            if is_asked and use.quantity > there + 1e-6:
                short = rounded(use.quantity - there)
                cured_on = self._cured_on(day, taken + use.quantity, other)
                return Threat(use.tank, use.name, use.due_on, use.quantity, short, cured_on)
            taken += use.quantity
        return None

    def _cured_on(self, day: int, taken: float, other: float) -> date | None:
        left = self._stock(with_orders=True) - other * self._days - taken
        covered = np.flatnonzero(left[day:] >= -TINY)
        return self._today + timedelta(days=day + int(covered[0])) if len(covered) else None

    def first_lack_on(self, first: date) -> date | None:
        """The first day from one on by which more is needed, in a course that only one in ten
        exceeds, than is there with what is on order; None where there is none."""
        place = self._place(first)
        missing = self._missing[place:] > TINY
        at = int(missing.argmax())
        return self._today + timedelta(days=place + at) if missing[at] else None

    def lack(self, first: date, last: date) -> float:
        """The most that is missing on a day from one to another, in such a course."""
        span = self._missing[self._place(first) : self._place(last) + 1]
        return max(0.0, float(span.max()))

    @cached_property
    def _missing(self) -> Floats:
        return self._use(TEN_PERCENT_Z, "early_on") - self._stock(with_orders=True)

    def _use(self, z: float, which: str) -> Floats:
        """All use up to each day; of swaps the known ones, or their usual pace if that is more."""
        if z not in self._uses:
            self._uses[z] = self._worked_out(z, which)
        return self._uses[z]

    def _worked_out(self, z: float, which: str) -> Floats:
        demand, days = self._demand, self._days
        places = [self._place(getattr(use, which)) for use in self._coming]
        amounts = [use.quantity for use in self._coming]
        known = np.bincount(places, amounts, len(days)).cumsum() if places else np.zeros_like(days)
        last = max(places, default=0)
        swaps = np.maximum(known, demand.swaps_per_week / 7 * days)
        beyond = np.maximum(0.0, days - last) if self._coming else days
        spread = np.sqrt((demand.other_sd**2 * days + demand.swaps_sd**2 * beyond) / 7)
        usual = demand.other_per_week / 7 * days + z * spread
        return swaps + np.maximum.accumulate(np.maximum(0.0, usual))

    def _stock(self, with_orders: bool) -> Floats:
        """What is there on each day without any use; not to be changed by who asks."""
        if with_orders not in self._stocks:
            self._stocks[with_orders] = self._stock_of(with_orders)
        return self._stocks[with_orders]

    def _stock_of(self, with_orders: bool) -> Floats:
        stock = np.full_like(self._days, self._state.on_hand)
        for lot in self.lots:
            stock[0 if lot.is_expired else self._place(lot.use_by + timedelta(days=1)) :] -= (
                lot.spoils
            )
        for day, quantity in self._arrivals if with_orders else ():
            stock[self._place(day) :] += quantity
        return stock

    def _spoiling(self) -> tuple[LotOutlook, ...]:
        """The lots that spoil, the first first, with what of each will be left when it does."""
        ending = sorted(
            (end, lot.lot, lot.quantity)
            for lot in self._state.lots
            if (end := lot.usable_until(self._state.rules)) is not None
        )
        if not ending:
            return ()
        use = self._use(0.0, "due_on")
        found: list[LotOutlook] = []
        there = spoiled = 0.0
        for end, name, quantity in ending:
            there += quantity
            is_expired = end < self._today
            used = 0.0 if is_expired else float(use[self._place(end)])
            spoils = min(quantity, max(0.0, there - spoiled - used))
            spoiled += spoils
            found.append(LotOutlook(name, end, quantity, rounded(spoils), is_expired))
        return tuple(found)

    def _place(self, day: date) -> int:
        return min(HORIZON_DAYS, max(0, (day - self._today).days))

    def _first_empty(self, left: Floats) -> date | None:
        empty = left <= 1e-9
        place = int(empty.argmax())
        return self._today + timedelta(days=place) if empty[place] else None
