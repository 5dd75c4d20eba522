"""What leaves the shelf, at what its own lot cost.

Specific identification of cost (IAS 2 Inventories, paragraphs 23 and 24), by lot: what is used
takes its share of what is left of its lot, so that all uses of a lot together cost what was paid
for it, to the cent. Which lot that is the shelf's own ledger says (domain/supplies/ledger.py).
"""

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import (
    StockCounted,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.spend.lines import CONSUMABLES, SOLVENT, SPOILED, CostLine
from app.domain.spend.prices import PricesState
from app.domain.supplies.ledger import LOTS_KEPT, after
from app.domain.supplies.state import ItemState
from app.domain.supplies.valuation import rounded, share

NO_PRICE = "no price known"
SPILL = "spill"


@dataclass
class ShelfLines:
    """An item's lines.

    Attributes:
        used: what was taken, in the order of its entries; its costs are costs of the week.
        bought: what came, with what was paid for it.
        on_hand_cents, on_hand: what is left at the end.
    """

    used: list[CostLine] = field(default_factory=list)
    bought: list[CostLine] = field(default_factory=list)
    on_hand_cents: int = 0
    on_hand: float = 0.0
    state: ItemState | None = None


@dataclass
class _Worth:
    """What is left of a lot and what that cost."""

    quantity: float = 0.0
    cents: int = 0
    basis: str = NO_PRICE


@dataclass
class ShelfBook:
    """An item between two entries of its book: the ledger, and what the lots' rest cost."""

    state: ItemState
    worth: dict[str, _Worth] = field(default_factory=dict)

    def take(self, entry: Entry, prices: PricesState) -> tuple[CostLine | None, CostLine | None]:
        """What came with an entry and what was taken, entries given in the order of truth."""
        before, self.state = self.state, after(self.state, entry)
        came = used = None
        if isinstance(entry, StockReceived):
            came = _receive(self.worth, entry, before, self.state, prices)
        taken, cents, bases = _settle(self.worth, self.state)
        if taken or cents:
            used = _line(entry, before, self.state, (taken, cents, bases))
        return came, used

    @property
    def cents(self) -> int:
        """What that which is left cost."""
        return sum(lot.cents for lot in self.worth.values())


def shelf_lines(key: str, entries: Iterable[Entry], prices: PricesState) -> ShelfLines:
    """The lines of an item from its book, in the order of truth."""
    found, book = ShelfLines(), ShelfBook(ItemState(key))
    for entry in entries:
        came, used = book.take(entry, prices)
        found.bought += [came] if came else []
        found.used += [used] if used else []
    found.on_hand_cents, found.on_hand, found.state = book.cents, book.state.on_hand, book.state
    return found


def _receive(
    worth: dict[str, _Worth], entry: StockReceived, before: ItemState, state: ItemState,
    prices: PricesState,
) -> CostLine:  # fmt: skip
    name = entry.lot or entry.at.date().isoformat()
    if name not in worth and len(before.lots) >= LOTS_KEPT:
        first, second = (lot.lot for lot in before.lots[:2])
        if first in worth and second in worth:
            gone = worth.pop(second)
            worth[first].quantity += gone.quantity
            worth[first].cents += gone.cents
    cents, basis = price_of(entry, before, state, prices)
    lot = worth.setdefault(name, _Worth())
    lot.quantity, lot.cents = rounded(lot.quantity + entry.quantity), lot.cents + cents
    lot.basis = basis
    return CostLine(
        entry.id, entry.at, "bought", cents, f"{state.name or state.key}, lot {name}", basis,
        item=state.key, solvent=state.solvent or "", quantity=entry.quantity, unit=state.unit,
    )  # fmt: skip


def price_of(
    entry: StockReceived, before: ItemState, state: ItemState, prices: PricesState
) -> tuple[int, str]:
    """What a receipt cost, and where that is said: invoice, order, list price, the room's rate."""
    if entry.price_cents is not None:
        return entry.price_cents, "invoice"
    order = before.order(entry.order) if entry.order else None
    if order is not None and order.price_cents is not None:
        ends = (order.received, order.received + entry.quantity)
        upto = [
            share(order.price_cents, min(part, order.quantity), order.quantity) for part in ends
        ]
        return upto[1] - upto[0], "order"
    if state.rules.list_price_cents is not None:
        return round(state.rules.list_price_cents * entry.quantity), "list price"
    rate = prices.at(entry.at).solvent_cents_per_l
    if state.category == "solvent" and rate:
        return round(rate * entry.quantity), "the room's rate"
    return 0, NO_PRICE


def _settle(worth: dict[str, _Worth], state: ItemState) -> tuple[float, int, list[str]]:
    """Bring the lots' worth to what the ledger says is left; what went, and what it cost."""
    left: dict[str, float] = {}
    for lot in state.lots:
        left[lot.lot] = left.get(lot.lot, 0.0) + lot.quantity
    taken, cents, bases = 0.0, 0, []
    for name, known in list(worth.items()):
        now = rounded(left.get(name, 0.0))
        if now < known.quantity:
            out = share(known.cents, rounded(known.quantity - now), known.quantity)
            taken, cents = rounded(taken + known.quantity - now), cents + out
            bases.append(f"lot {name}, {known.basis}")
            known.cents -= out
        known.quantity = now
        if now <= 0:
            del worth[name]
    for name, quantity in left.items():
        if name not in worth:  # found at a count: nothing was paid for it
            worth[name] = _Worth(rounded(quantity), 0, "found at a count")
    return taken, cents, bases


def _line(entry: Entry, before: ItemState, state: ItemState, out: Any) -> CostLine:
    taken, cents, bases = out
    category = SOLVENT if state.category == "solvent" else CONSUMABLES
    what = state.name or state.key
    if isinstance(entry, StockScrapped):
        category, what = SPOILED, f"{what}, scrapped: {entry.reason}"
    elif isinstance(entry, StockUsed) and entry.purpose == SPILL:
        category, what = SPOILED, f"{what}, spilled or spoiled"
    elif isinstance(entry, StockCounted):
        what = f"{what}, missing at the count"
    elif isinstance(entry, StockReceived):
        what = f"{what}, used before it was received"
    return CostLine(
        entry.id, entry.at, category, cents, what, "; ".join(bases),
        tank=getattr(entry, "tank", None) or "", item=before.key, solvent=state.solvent or "",
        quantity=taken, unit=state.unit, purpose=_purpose(entry),
    )  # fmt: skip


def _purpose(entry: Entry) -> str:
    if getattr(entry, "swap", None):
        return "swap"
    return getattr(entry, "purpose", None) or ""
