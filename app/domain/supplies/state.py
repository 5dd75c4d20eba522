"""An item on the shelf as its entries leave it. Quantities are in the item's own unit."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Literal, TypeVar

from app.domain.lot_keys import lot_key
from app.domain.supplies.valuation import Valuation, rounded

Standing = Literal["good", "expired", "quarantined", "withdrawn"]
"""What a lot is: only a good one is offered."""


@dataclass(frozen=True)
class Lot:
    """A lot on the shelf.

    Attributes:
        lot: as on its label, or the day it came where it has none.
        quantity: what is left of it.
        received_quantity, price_cents, containers: all that came of it; None where not known.
        held: `quarantined` or `withdrawn` where a lead has to release it first.
    """

    lot: str
    quantity: float
    received_on: date
    expires_on: date | None = None
    opened_on: date | None = None
    supplier: str = ""
    received_quantity: float = 0.0
    price_cents: int | None = None
    containers: int | None = None
    held: str = ""
    held_reason: str = ""

    @property
    def price_cents_per_unit(self) -> float | None:
        """What one unit of it cost."""
        if self.price_cents is None or not self.received_quantity:
            return None
        return self.price_cents / self.received_quantity

    def use_by(self, rules: "KeepingRules") -> date | None:
        """The last day it is good for: by its label, its age, or how long it has been open."""
        days = [self.expires_on]
        if self.expires_on is None and rules.shelf_life_days is not None:
            days.append(later(self.received_on, rules.shelf_life_days))
        if self.opened_on is not None and rules.opened_life_days is not None:
            days.append(later(self.opened_on, rules.opened_life_days))
        return min((day for day in days if day is not None), default=None)

    def standing(self, rules: "KeepingRules", today: date) -> "Standing":
        """Whether it may be used on a day."""
        if self.held:
            return "withdrawn" if self.held == "withdrawn" else "quarantined"
        end = self.use_by(rules)
        return "expired" if end is not None and end < today else "good"

    def usable_until(self, rules: "KeepingRules") -> date | None:
        """The last day on which it is used: of a held lot the day before it came."""
        return self.received_on - timedelta(days=1) if self.held else self.use_by(rules)


@dataclass(frozen=True)
class HeldLot:
    """A lot that is held, whether any of it is on the shelf or not."""

    lot: str
    standing: str
    reason: str = ""


AnyLot = TypeVar("AnyLot", Lot, HeldLot)


def _named(lots: Iterable[AnyLot], name: str) -> AnyLot | None:
    """The first of some lots that bears a name, as labels are read: by `lot_key`."""
    key = lot_key(name)
    return next((one for one in lots if one.lot == name or lot_key(one.lot) == key), None)


@dataclass(frozen=True)
class KeepingRules:
    """How an item is bought, kept and used; None where the site has not said."""

    container_sizes: tuple[float, ...] = ()
    location: str = ""
    supplier: str = ""
    list_price_cents: int | None = None
    order_cost_cents: int | None = None
    holding_percent: float | None = None
    lead_days: float | None = None
    lead_sd_days: float | None = None
    service_percent: float | None = None
    order_minimum: float | None = None
    max_on_shelf: float | None = None
    shelf_life_days: float | None = None
    opened_life_days: float | None = None
    used_per_swap: float | None = None
    reorder_at: float | None = None


@dataclass(frozen=True)
class Order:
    """What is still to come of an order of this item.

    Attributes:
        received: what has come of it so far.
        price_cents: of the whole quantity.
    """

    order: str
    quantity: float
    placed_on: date
    received: float = 0.0
    expected_on: date | None = None
    supplier: str = ""
    price_cents: int | None = None

    @property
    def outstanding(self) -> float:
        """What is still to come."""
        return max(0.0, rounded(self.quantity - self.received))

    def is_overdue(self, today: date) -> bool:
        """Whether it should have come before today."""
        return self.expected_on is not None and self.expected_on < today


@dataclass(frozen=True)
class PastOrder:
    """An order that is complete or was cancelled.

    Attributes:
        lead_days: from the order to its last delivery; None where it was cancelled.
    """

    order: str
    supplier: str
    closed_on: date
    lead_days: int | None = None


@dataclass(frozen=True)
class Week:
    """What was used in a week, counted from Monday 1 January of the year 1.

    Attributes:
        swaps: taken for swaps; other: everything else, what counts found missing included.
    """

    week: int
    swaps: float = 0.0
    other: float = 0.0


@dataclass(frozen=True)
class Movement:
    """One of the last movements: what it changed, and what was on hand after it."""

    at: datetime
    kind: str
    change: float
    balance: float
    lot: str = ""
    by: str = ""
    entry: str = ""
    detail: str = ""
    tank: str = ""


@dataclass(frozen=True)
class ItemState:
    """An item on the shelf.

    Attributes:
        name: empty while nothing but movements named the item.
        lots: what lies on the shelf, in the order in which it came.
        held_lots: those that are held, also once they are used up: more of one comes in held.
        owed: used beyond what the books had; the next receipt or count settles it.
        worth: value of what is on hand by both cost rules.
        purity_percent: of a solvent, by mass; `purity_volume_percent` as it was entered by volume.
        on_order: orders of which something is still to come.
        past_orders: the last ones that are complete or cancelled.
        weeks: use in the last 104 weeks, the weeks without use left out, the oldest first.
        first_week: week of the first movement; None before it.
        recent: the last movements, the newest last.
    """

    key: str
    name: str = ""
    category: str = "other"
    unit: str = "piece"
    solvent: str | None = None
    purity_percent: float | None = None
    purity_volume_percent: float | None = None
    is_retired: bool = False
    rules: KeepingRules = field(default_factory=KeepingRules)
    lots: tuple[Lot, ...] = ()
    held_lots: tuple[HeldLot, ...] = ()
    owed: float = 0.0
    worth: Valuation = field(default_factory=Valuation)
    on_order: tuple[Order, ...] = ()
    past_orders: tuple[PastOrder, ...] = ()
    weeks: tuple[Week, ...] = ()
    first_week: int | None = None
    counted_at: datetime | None = None
    recent: tuple[Movement, ...] = ()

    @property
    def on_hand(self) -> float:
        """What the books say lies on the shelf; below zero where more was used than came."""
        return rounded(sum(lot.quantity for lot in self.lots) - self.owed)

    @property
    def container_sizes(self) -> tuple[float, ...]:
        """Sizes it is bought in, largest first; empty where any quantity can be bought."""
        return self.rules.container_sizes

    @property
    def outstanding(self) -> float:
        """What is still to come of all orders."""
        return rounded(sum(order.outstanding for order in self.on_order))

    def lot(self, name: str) -> Lot | None:
        """The lot of that name on the shelf, however it is spelled."""
        return _named(self.lots, name)

    def held_lot(self, name: str) -> HeldLot | None:
        """The lot of that name that is held, however it is spelled."""
        return _named(self.held_lots, name)

    def spelled(self, name: str) -> str:
        """A lot's name as it was first said: a recall misses none that is typed another way."""
        known = self.lot(name) or self.held_lot(name)
        return name if known is None else known.lot

    @property
    def held_but_gone(self) -> tuple[HeldLot, ...]:
        """Held lots of which nothing is on the shelf: more of them comes in held."""
        return tuple(one for one in self.held_lots if self.lot(one.lot) is None)

    def order(self, key: str) -> Order | None:
        """The open order of that key."""
        return next((order for order in self.on_order if order.order == key), None)


def later(day: date, days: float) -> date:
    """The day so many days later; the last day there is where it lies beyond."""
    try:
        return day + timedelta(days=days)
    except OverflowError:
        return date.max


def week_of(day: date) -> int:
    """The number of a day's week; weeks begin on Monday."""
    return (day.toordinal() - 1) // 7


RULE_NAMES: Mapping[str, str] = {name: name for name in KeepingRules.__dataclass_fields__}
