"""The shelf: items, lots received and used, orders.

Quantities are in the item's own unit: litres, pieces, pairs. Prices are for the whole quantity of
the entry, as they stand on the invoice, in the smallest unit of the currency.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, ClassVar

from app.domain.errors import FieldError
from app.domain.lot_keys import SOLVENT_LOT, of_lot
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import Entry, LedgerEntry
from app.domain.roomlog.life import Form, Page, Way
from app.domain.solvents import SOLVENTS
from app.domain.solvents.purity import of_own, said_twice

ITEM = "item"
CATEGORIES = ("solvent", "part", "protection", "cleaning", "waste_container", "other")
UNITS = ("piece", "pair", "set", "box", "roll", "L", "kg", "m")
COUNTED_UNITS = frozenset({"piece", "pair", "set", "box", "roll"})
UNITS_OF: Mapping[str, tuple[str, ...]] = {
    "solvent": ("L",),
    "part": ("piece", "pair", "set"),
    "protection": ("piece", "pair", "set", "box"),
    "cleaning": ("piece", "set", "box", "roll", "L", "kg", "m"),
    "waste_container": ("piece",),
    "other": UNITS,
}
STANDINGS = ("quarantined", "withdrawn")
"""Why a lot is not used: something is to be found out about it, or its maker called it back."""
PURPOSES = ("swap", "top_up", "inspection", "hand_out", "cleaning", "spill", "other")
PURPOSE_WORDS = {
    "hand_out": "handed out", "swap": "for a swap", "top_up": "for a top-up",
    "inspection": "for an inspection", "cleaning": "for cleaning", "spill": "for a spill",
    "other": "for something else",
}  # fmt: skip
SCRAP_REASONS = ("expired", "damaged", "contaminated", "lost", "other")
MOST = 1_000_000
DEAREST_CENTS = 100_000_000_000
FINITE: Mapping[str, Any] = {
    "low": -1e15,
    "high": 1e15,
}  # what is dearer than the dearest is told apart in words
FIRST_ZONE = timedelta(hours=12)  # where the day is still the one before: UTC-12


def check_sizes(value: Any) -> list[float]:
    """Container sizes in the item's unit, largest first.

    Raises:
        ValueError: no list of one to twelve numbers above zero.
    """
    if not isinstance(value, list | tuple) or not 1 <= len(value) <= 12:
        raise ValueError("Enter one to twelve container sizes, such as 18.9 and 3.8.")
    for size in value:
        is_number = isinstance(size, int | float) and not isinstance(size, bool)
        if not is_number or not 0 < size <= MOST:
            raise ValueError("Each container size is a number above zero.")
    return sorted({float(size) for size in value}, reverse=True)


@dataclass(frozen=True, kw_only=True)
class ItemSettings(LedgerEntry):
    """How an item is bought, kept and used."""

    container_sizes: list[float] | None = spec(
        "data", "Container sizes", check=check_sizes, example=[18.9, 3.8]
    )
    location: str | None = spec("text", "Where it is kept")
    supplier: str | None = spec("text", "Usual supplier")
    list_price_cents: int | None = spec(
        "money", "Price per unit", **FINITE, help="Used until a lot has one."
    )
    order_cost_cents: int | None = spec(
        "money", "Cost of placing an order", **FINITE, help="Freight, dangerous-goods fee, time.",
    )  # fmt: skip
    holding_percent: float | None = number("Cost of keeping it", "% of its value per year", 0, 500)
    lead_days: float | None = number("Delivery takes", "days", 0, 730)
    lead_sd_days: float | None = number("Delivery varies by", "days", 0, 365)
    service_percent: float | None = number(
        "Chance of not running out while waiting", "% of orders", 50, 99.99
    )
    order_minimum: float | None = number(
        "Smallest order the supplier takes", "", 0, MOST, counted_as="item"
    )
    max_on_shelf: float | None = number("Most that may be kept", "", 0, MOST, counted_as="item")
    shelf_life_days: float | None = number("Shelf life unopened", "days", 1, 7300)
    opened_life_days: float | None = number("Shelf life once opened", "days", 1, 7300)
    used_per_swap: float | None = number("Taken for each swap", "", 0, MOST, counted_as="item")
    reorder_at: float | None = number(
        "Order when this much is left", "", 0, MOST, counted_as="item",
        help="For items that must be in stock though rarely used. "
        "If use calls for more, the higher figure counts.",
    )  # fmt: skip

    def problems(self) -> list[FieldError]:
        """Prices that cannot be."""
        return price_problems(self, "list_price_cents", "order_cost_cents")


@dataclass(frozen=True, kw_only=True)
class Item(ItemSettings):
    """An item comes on to the shelf's list."""

    kind: ClassVar[str] = "item"
    summary: ClassVar[str] = "Item added to the shelf"
    sentence: ClassVar[str] = "{by} added {name} to the shelf[, {rest}]"
    reached: ClassVar[Way] = Page("/shelf/new")

    item: str = spec("key", "Item", required=True, thing=ITEM)
    name: str = spec("text", "Name", required=True)
    category: str = spec("choice", "Category", choices=CATEGORIES, required=True)
    unit: str = spec("choice", "Counted in", choices=UNITS, required=True)
    solvent: str | None = spec("key", "Solvent")
    purity_percent: float | None = number("Purity", "mass %", 1, 100)
    purity_volume_percent: float | None = number(
        "Purity", "volume %", 1, 100, help="As on the label of an alcohol."
    )

    def problems(self) -> list[FieldError]:
        """The unit must suit the category; only a solvent is one of the solvent table."""
        found = super().problems()
        suited = UNITS_OF[self.category]
        if self.unit not in suited:
            words = self.category.replace("_", " ")
            message = f"“{self.unit}” does not suit the category “{words}”: {', '.join(suited)}."
            found.append(FieldError("unit", message))
        if self.category == "solvent" and self.solvent is None:
            found.append(FieldError("solvent", "Choose which solvent it is."))
        if self.category != "solvent" and self.solvent is not None:
            found.append(FieldError("solvent", "Only an item of the category solvent has one."))
        if self.solvent is not None and self.solvent not in SOLVENTS:
            known = ", ".join(SOLVENTS)
            found.append(FieldError("solvent", f"“{self.solvent}” is none of {known}."))
        return found + _purity_problems(self)


@dataclass(frozen=True, kw_only=True)
class ItemChanged(ItemSettings):
    """An item's name or settings change; what is left out stays as it was."""

    kind: ClassVar[str] = "item_changed"
    summary: ClassVar[str] = "Item settings changed"
    sentence: ClassVar[str] = "{by} changed the settings of {item}[: {rest}]"
    reached: ClassVar[Way] = Page("/shelf/items/{item}/settings")

    item: str = spec("key", "Item", required=True, thing=ITEM)
    name: str | None = spec("text", "Name")
    purity_percent: float | None = number("Purity", "mass %", 1, 100)
    purity_volume_percent: float | None = number(
        "Purity", "volume %", 1, 100, help="As on the label of an alcohol."
    )
    is_retired: bool | None = spec("flag", "No longer kept")

    def problems(self) -> list[FieldError]:
        """Prices that cannot be; a purity that is said twice."""
        return super().problems() + _purity_problems(self)


def _purity_problems(entry: Item | ItemChanged) -> list[FieldError]:
    given = entry.purity_percent, entry.purity_volume_percent
    found = said_twice("purity_volume_percent", *given)
    if isinstance(entry, Item):
        for name in ("purity_percent", "purity_volume_percent"):
            found += of_own(name, entry.solvent, getattr(entry, name))
    return found


@dataclass(frozen=True, kw_only=True)
class StockEntry(LedgerEntry):
    """An entry about an item's stock; `unit` only says which unit the sender meant."""

    item: str = spec("key", "Item", required=True, thing=ITEM)
    unit: str | None = spec("choice", "Unit", choices=UNITS)


@dataclass(frozen=True, kw_only=True)
class StockReceived(StockEntry):
    """A delivery came in; with `order` it is a delivery, or a part of one, of that order."""

    kind: ClassVar[str] = "stock_received"
    summary: ClassVar[str] = "Stock received"
    sentence: ClassVar[str] = (
        "{by} put {quantity} of {item} on the shelf[, lot {lot}][, containers: {containers}][, "
        "for {price_cents}][, use by {expires_on}][, from {supplier}][, order number {order}]"
    )
    reached: ClassVar[Way] = Form(
        at="item", task="receive", link="Received", rank=10, save="Put it on the shelf",
    )  # fmt: skip

    quantity: float = number("Quantity", "", 0.001, MOST, required=True, counted_as="item")
    lot: str | None = spec("text", "Lot", help="As on the label. Without one, the date is used.")
    containers: int | None = spec("whole", "Containers", low=1, high=100_000)
    price_cents: int | None = spec("money", "Total price", **FINITE, help="As on the invoice.")
    expires_on: date | None = spec("day", "Use by")
    supplier: str | None = spec("text", "Supplier")
    order: str | None = spec("key", "Order")

    def problems(self) -> list[FieldError]:
        """Prices that cannot be. What has expired when it comes is booked as such, and asked."""
        return price_problems(self, "price_cents")


@dataclass(frozen=True, kw_only=True)
class StockUsed(StockEntry):
    """Something was taken from the shelf; without a lot, from the good lot that expires first."""

    kind: ClassVar[str] = "stock_used"
    summary: ClassVar[str] = "Stock used"
    sentence: ClassVar[str] = (
        "{by} took {quantity} of {item}[, {purpose}][, at {tank}][, lot {lot}]"
    )
    reached: ClassVar[Way] = Form(at="item", task="use", save="Save the use")

    quantity: float = number("Quantity", "", 0.001, MOST, required=True, counted_as="item")
    purpose: str | None = spec("choice", "For", choices=PURPOSES, words=PURPOSE_WORDS)
    lot: str | None = spec("text", "Lot")
    tank: str | None = spec("key", "Tank")
    swap: str | None = spec("key", "Swap")
    inspection: str | None = spec("key", "Inspection")

    def things(self) -> list[tuple[str, str]]:
        """What went into a tank is found by its lot."""
        lot = self.lot if self.tank else None
        return [*super().things(), *of_lot(SOLVENT_LOT, lot)]


@dataclass(frozen=True, kw_only=True)
class StockOpened(StockEntry):
    """A lot's container was opened: from that day it keeps only as long as opened ones do."""

    kind: ClassVar[str] = "stock_opened"
    summary: ClassVar[str] = "Container opened"
    sentence: ClassVar[str] = "{by} opened a container of {item}, lot {lot}"
    reached: ClassVar[Way] = Form(
        at="item", task="open", link="Opened a container", rank=30,
        save="Save the day it was opened",
    )  # fmt: skip

    lot: str = spec("text", "Lot", required=True)


@dataclass(frozen=True, kw_only=True)
class LotHeld(StockEntry):
    """A lot is not used until a lead releases it: in quarantine, or withdrawn by its maker."""

    kind: ClassVar[str] = "lot_held"
    summary: ClassVar[str] = "Lot held"
    sentence: ClassVar[str] = "{by} held lot {lot} of {item}, {standing}: {reason}"
    reached: ClassVar[Way] = Form(
        at="item", task="hold", link="Hold a lot", rank=40, save="Hold the lot",
        title="Hold a lot: {at}", heading="Hold a lot: {at}",
        about="It is not offered to anybody, and no use of it is stored until a lead releases it.",
    )  # fmt: skip

    lot: str = spec("text", "Lot", required=True)
    standing: str = spec(
        "choice", "It is", choices=STANDINGS, required=True,
        words={"quarantined": "in quarantine", "withdrawn": "withdrawn by its maker"},
    )  # fmt: skip
    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class LotReleased(StockEntry):
    """A lead released a lot: it is used again."""

    kind: ClassVar[str] = "lot_released"
    summary: ClassVar[str] = "Lot released"
    sentence: ClassVar[str] = "{lead} released lot {lot} of {item}: {reason}"
    reached: ClassVar[Way] = Form(
        at="item", task="release", link="Release a lot", rank=45, save="Release the lot",
        title="Release a lot: {at}", heading="Release a lot: {at}",
        only_where="a lot of the item is held",
    )  # fmt: skip

    lot: str = spec("text", "Lot", required=True)
    lead: str = spec("text", "Released by", required=True)
    reason: str = spec("text", "Reason", required=True)


@dataclass(frozen=True, kw_only=True)
class StockCounted(StockEntry):
    """The shelf was counted: what lies there counts from now on.

    `expected` is what the books said when it was counted.
    """

    kind: ClassVar[str] = "stock_counted"
    summary: ClassVar[str] = "Stock counted"
    sentence: ClassVar[str] = (
        "{by} counted {item}: {quantity}[, lot {lot}][, {expected} in the books]"
    )
    reached: ClassVar[Way] = Page("/shelf/count")

    quantity: float = number("Counted", "", 0, MOST, required=True, counted_as="item")
    lot: str | None = spec("text", "Lot", help="If empty: all lots of the item together.")
    expected: float | None = number("In the books", "", -MOST, MOST, counted_as="item")


@dataclass(frozen=True, kw_only=True)
class StockScrapped(StockEntry):
    """Something was thrown away unused."""

    kind: ClassVar[str] = "stock_scrapped"
    summary: ClassVar[str] = "Stock scrapped"
    sentence: ClassVar[str] = "{by} threw away {quantity} of {item}: {reason}[, lot {lot}]"
    reached: ClassVar[Way] = Form(
        at="item", task="scrap", link="Scrapped", rank=20, save="Take it off the shelf",
    )  # fmt: skip

    quantity: float = number("Quantity", "", 0.001, MOST, required=True, counted_as="item")
    reason: str = spec("choice", "Reason", choices=SCRAP_REASONS, required=True)
    lot: str | None = spec("text", "Lot")


@dataclass(frozen=True, kw_only=True)
class OrderPlaced(StockEntry):
    """An item was ordered. An order of several items is one entry for each, with the same key."""

    kind: ClassVar[str] = "order_placed"
    summary: ClassVar[str] = "Order placed"
    sentence: ClassVar[str] = (
        "{by} ordered {quantity} of {item}[ from {supplier}][, expected on {expected_on}][, "
        "for {price_cents}], order number {order}"
    )
    reached: ClassVar[Way] = Page("/shelf/orders")

    order: str = spec("key", "Order", required=True)
    quantity: float = number("Quantity", "", 0.001, MOST, required=True, counted_as="item")
    supplier: str | None = spec("text", "Supplier")
    expected_on: date | None = spec("day", "Expected on")
    price_cents: int | None = spec(
        "money",
        "Total price",
    )

    def problems(self) -> list[FieldError]:
        """An order does not come before it is placed."""
        if self.expected_on is not None and self.expected_on < (self.at - FIRST_ZONE).date():
            return [FieldError("expected_on", "This day is before the order.")]
        return price_problems(self, "price_cents")


@dataclass(frozen=True, kw_only=True)
class OrderCancelled(StockEntry):
    """What is still to come of an order will not come."""

    kind: ClassVar[str] = "order_cancelled"
    summary: ClassVar[str] = "Order cancelled"
    sentence: ClassVar[str] = "{by} cancelled the rest of the order of {item}, order number {order}"
    reached: ClassVar[Way] = Page("/shelf/orders/{order}")

    order: str = spec("key", "Order", required=True)


def price_problems(entry: Entry, *names: str) -> list[FieldError]:
    """Prices below zero, or beyond anything that is paid."""
    return [
        FieldError(name, "A price must be zero or more, and less than a thousand million.")
        for name in names
        if (cents := getattr(entry, name)) is not None and not 0 <= cents < DEAREST_CENTS
    ]


KINDS_OF_SUPPLIES: tuple[type[Entry], ...] = (
    Item, ItemChanged, StockReceived, StockUsed, StockOpened, LotHeld, LotReleased, StockCounted,
    StockScrapped, OrderPlaced, OrderCancelled,
)  # fmt: skip
