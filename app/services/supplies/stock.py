"""The shelf: what may be said of its stock, held against the books inside the transaction."""

import math
from collections.abc import Callable
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.calendar_words import day_words
from app.domain.errors import FieldError
from app.domain.plural import MINUS
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import (
    COUNTED_UNITS,
    ITEM,
    Item,
    LotHeld,
    LotReleased,
    OrderCancelled,
    OrderPlaced,
    StockCounted,
    StockEntry,
    StockOpened,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.solvents.fit import why_not
from app.domain.supplies.state import ItemState
from app.domain.supplies.valuation import rounded
from app.services.then import thing_at
from app.store.acting import has_waited
from app.store.tables import RoomRow, TankRow
from app.store.things import thing

SAME = 1e-6
COUNT_FIRST = "If there is more, count it first."
HELD_WORDS = {"quarantined": "in quarantine", "withdrawn": "withdrawn"}


def use_problems(session: Session, room_id: int, use: StockUsed, now: datetime) -> list[FieldError]:
    """What is wrong with a use, against the shelf as it stands; nothing where it may be stored."""
    return stock_problems(session, room_id, use, now)


def stock_problems(
    session: Session, room_id: int, entry: StockEntry, now: datetime
) -> list[FieldError]:
    """What is wrong with an entry about an item's stock, a message for each field."""
    state: ItemState | None = thing(session, room_id, ITEM, entry.item)
    if state is None or not state.name:
        return [FieldError("item", f"There is no item “{entry.item}” on the shelf.")]
    found = unit_problems(state, entry)
    check = _CHECKS.get(type(entry))
    if check is not None:
        found += check(state, entry)
    if isinstance(entry, StockUsed):
        day = _day_of(session, room_id, min(entry.at, now))
        found += _out_of_good(state, entry, day)
        held = _held_problems(state, entry)
        if held and (has_waited() or (entry.at < now and not _was_held(session, room_id, entry))):
            held = []  # it came there later, or nobody could know: asked about, and not refused
        found += held or _age_problems(state, entry, day)
    if isinstance(entry, StockUsed) and entry.tank is not None:
        found += _solvent_problems(session, room_id, state, entry.tank)
    return found


def _day_of(session: Session, room_id: int, at: datetime) -> date:
    """The day in the room: a label's last day ends at its midnight."""
    return at.astimezone(ZoneInfo(session.get_one(RoomRow, room_id).time_zone)).date()


def item_problems(session: Session, room: RoomRow, entry: Item, _: datetime) -> list[FieldError]:
    """An item that is there already keeps its unit: its stock is counted in it."""
    assert room.id is not None
    state: ItemState | None = thing(session, room.id, ITEM, entry.item)
    if state is None or not state.name or state.unit == entry.unit:
        return []
    message = f"{state.name} is counted in {unit_words(state.unit)}. Set up a new item instead."
    return [FieldError("unit", message)]


def unit_problems(state: ItemState, entry: StockEntry) -> list[FieldError]:
    """A quantity in another unit than the item's, or a part of what is counted whole."""
    if entry.unit is not None and entry.unit != state.unit:
        message = f"{state.name} is counted in {unit_words(state.unit)}, not in {entry.unit}."
        return [FieldError("quantity", message)]
    quantity = getattr(entry, "quantity", None)
    if quantity is not None and state.unit in COUNTED_UNITS and quantity != math.floor(quantity):
        return [
            FieldError("quantity", f"{state.name} is counted in whole {unit_words(state.unit)}.")
        ]
    return []


def unit_words(unit: str) -> str:
    """A unit in the plural."""
    plurals = {
        "piece": "pieces", "pair": "pairs", "set": "sets", "box": "boxes", "roll": "rolls",
        "L": "litres", "kg": "kilograms", "m": "metres",
    }  # fmt: skip
    return plurals.get(unit, unit)


def unit_beside(figure: str, unit: str) -> str:
    """A unit after a figure: in the plural where it is counted and is not one.

    >>> unit_beside("1", "pair"), unit_beside("7", "pair"), unit_beside("7", "kg")
    ('pair', 'pairs', 'kg')
    >>> unit_beside(f"{MINUS}1", "pair")
    'pair'
    """
    is_plural = unit in COUNTED_UNITS and figure.lstrip(f"-{MINUS}") != "1"
    return unit_words(unit) if is_plural else unit


def _lot_problems(state: ItemState, name: str | None) -> list[FieldError]:
    if name is None or state.lot(name) is not None:
        return []
    known = ", ".join(lot.lot for lot in state.lots[:8]) or "none"
    message = f"There is no lot “{name[:40]}” of {state.name} on the shelf. Lots there: {known}."
    return [FieldError("lot", message)]


def _out(state: ItemState, entry: StockUsed | StockScrapped) -> list[FieldError]:
    """Nothing is taken of a lot, or scrapped, that is not there."""
    found = _lot_problems(state, entry.lot)
    if found:
        return found
    lot = state.lot(entry.lot) if entry.lot else None
    if lot is None and isinstance(entry, StockUsed):
        return []  # held against what is good of all lots, by its own check
    there = lot.quantity if lot else state.on_hand
    if entry.quantity <= there + SAME:
        return []
    where = f"of lot {lot.lot}" if lot else "on the shelf"
    return [FieldError("quantity", f"{_books_have(state, there)} {where}. {COUNT_FIRST}")]


def _out_of_good(state: ItemState, entry: StockUsed, day: date) -> list[FieldError]:
    """A use without a lot passes over what is held, and over expired lots without a note."""
    if entry.lot:
        return []
    bad = dict.fromkeys(("held", "expired"), 0.0)
    for lot in state.lots:
        standing = lot.standing(state.rules, day)
        if standing != "good":
            bad["expired" if standing == "expired" else "held"] += lot.quantity
    expired = 0.0 if entry.note.strip() else bad["expired"]
    there = state.on_hand - bad["held"] - expired
    if entry.quantity <= there + SAME:
        return []
    if not expired:
        rest = "The rest is held." if bad["held"] else COUNT_FIRST
        return [FieldError("quantity", f"{_books_have(state, there)} on the shelf. {rest}")]
    rest = "The rest is expired or held" if bad["held"] else "The rest is expired"
    message = (
        f"{_books_have(state, there)} in lots that are good. {rest}. Use another lot, or say in "
        "the note why you use an expired one."
    )
    return [FieldError("quantity", message, "lot_expired")]


def _books_have(state: ItemState, there: float) -> str:
    return f"The books have {max(0.0, rounded(there)):g} {unit_words(state.unit)}"


def _age_problems(state: ItemState, use: StockUsed, day: date) -> list[FieldError]:
    """A lot past its day is used only by someone who says why."""
    lot = state.lot(use.lot) if use.lot else None
    end = lot.use_by(state.rules) if lot else None
    if lot is None or end is None or end >= day or use.note.strip():
        return []
    message = (
        f"Lot {lot.lot} was good until {day_words(end)}. Take another, or say in the note why you "
        "use it."
    )
    return [FieldError("lot", message)]


def _was_held(session: Session, room_id: int, use: StockUsed) -> bool:
    """The lot was held already as it was used."""
    then: ItemState | None = thing_at(session, room_id, ITEM, use.item, use.at)
    return then is not None and bool(_held_problems(then, use))


def _held_problems(state: ItemState, use: StockUsed) -> list[FieldError]:
    """A lot that is held is used for nothing, whatever the note says."""
    lot = state.lot(use.lot) if use.lot else None
    if lot is None or not lot.held:
        return []
    message = (
        f"Lot {lot.lot} is {HELD_WORDS[lot.held]}: {lot.held_reason.rstrip('.')}. Use another, or "
        "have a lead release it on the item's page."
    )
    return [FieldError("lot", message)]


def _holding(state: ItemState, entry: LotHeld) -> list[FieldError]:
    lot = state.lot(entry.lot)
    if lot is not None and lot.held == "withdrawn" != entry.standing:
        message = f"Lot {lot.lot} is withdrawn by its maker: {lot.held_reason.rstrip('.')}."
        return [FieldError("standing", message)]
    return _lot_problems(state, entry.lot)


def _releasing(state: ItemState, entry: LotReleased) -> list[FieldError]:
    """One that is used up is released too: more of it would come in held."""
    lot = state.lot(entry.lot)
    if lot is None and state.held_lot(entry.lot) is not None:
        return []
    if lot is not None and not lot.held:
        return [FieldError("lot", f"Lot {lot.lot} is not held.")]
    return _lot_problems(state, entry.lot)


def _counted(state: ItemState, entry: StockCounted) -> list[FieldError]:
    return _lot_problems(state, entry.lot)


def _opened(state: ItemState, entry: StockOpened) -> list[FieldError]:
    found = _lot_problems(state, entry.lot)
    lot = state.lot(entry.lot)
    if lot is not None and entry.at.date() < lot.received_on:
        message = f"Lot {lot.lot} came later, on {day_words(lot.received_on)}."
        found.append(FieldError("at", message))
    return found


def _received(state: ItemState, entry: StockReceived) -> list[FieldError]:
    if state.is_retired:
        return [FieldError("item", f"{state.name} is no longer kept.")]
    if entry.order is None:
        return []
    order = state.order(entry.order)
    if order is None:
        past = next((one for one in state.past_orders if one.order == entry.order), None)
        if past is None:
            message = f"There is no order “{entry.order}” of {state.name}."
        elif past.lead_days is None:
            message = f"Order {entry.order} was cancelled on {day_words(past.closed_on)}."
        else:
            message = f"Order {entry.order} was received in full on {day_words(past.closed_on)}."
        return [FieldError("order", message)]
    if entry.quantity > order.outstanding + SAME:
        message = (
            f"Of order {order.order} {order.outstanding:g} {unit_words(state.unit)} are still to "
            "come. Enter anything beyond that as a delivery without an order."
        )
        return [FieldError("quantity", message)]
    if entry.at.date() < order.placed_on:
        message = f"Order {order.order} was placed later, on {day_words(order.placed_on)}."
        return [FieldError("at", message)]
    return []


def _ordered(state: ItemState, entry: OrderPlaced) -> list[FieldError]:
    if state.is_retired:
        return [FieldError("item", f"{state.name} is no longer kept.")]
    taken = state.order(entry.order) or any(o.order == entry.order for o in state.past_orders)
    if taken:
        message = (
            f"{state.name} is already on order {entry.order}. Give the new order its own number."
        )
        return [FieldError("order", message)]
    return []


def _cancelled(state: ItemState, entry: OrderCancelled) -> list[FieldError]:
    if state.order(entry.order) is None:
        return [FieldError("order", f"Nothing is left to come on order “{entry.order}”.")]
    return []


def _solvent_problems(
    session: Session, room_id: int, state: ItemState, tank: str
) -> list[FieldError]:
    """A solvent that is not the bath's is not poured into it."""
    row = session.get(TankRow, (room_id, tank))
    if row is None or state.solvent is None or row.solvent == state.solvent:
        return []
    message = f"{row.name}, {state.name}. {why_not(row.solvent, state.solvent)}"
    return [FieldError("item", f"{message} Do not pour one into the other.")]


_CHECKS: dict[type[Entry], Callable[[ItemState, Any], list[FieldError]]] = {
    StockReceived: _received,
    StockUsed: _out,
    StockScrapped: _out,
    StockOpened: _opened,
    LotHeld: _holding,
    LotReleased: _releasing,
    StockCounted: _counted,
    OrderPlaced: _ordered,
    OrderCancelled: _cancelled,
}
