"""The ledger of an item: its state after each entry in its book.

Every step costs the same however long the past is: what is kept are the lots on the shelf, the last
movements, and the use of 104 weeks.
"""

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from typing import Any

from app.domain.money import times
from app.domain.reasons import joined
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import (
    ITEM,
    Item,
    ItemChanged,
    ItemSettings,
    LotHeld,
    LotReleased,
    OrderCancelled,
    OrderPlaced,
    StockCounted,
    StockOpened,
    StockReceived,
    StockScrapped,
    StockUsed,
)
from app.domain.solvents import SOLVENTS
from app.domain.solvents.purity import mass_percent
from app.domain.supplies.state import (
    RULE_NAMES,
    HeldLot,
    ItemState,
    Lot,
    Movement,
    Order,
    PastOrder,
    week_of,
)
from app.domain.supplies.usage import spread, with_use
from app.domain.supplies.valuation import found, issue, receive, rounded, share
from app.domain.things import Thing

RECENT_KEPT = 25
ORDERS_KEPT = 24
LOTS_KEPT = 60


def after(state: ItemState, entry: Entry) -> ItemState:
    """The item after an entry; what does not fit is taken in as far as it goes."""
    step = _STEPS.get(entry.kind)
    name = getattr(entry, "lot", None)
    if name and (known := state.spelled(name)) != name:
        said: Any = entry
        entry = replace(said, lot=known)
    return state if step is None else step(state, entry)


def _set_up(state: ItemState, entry: Item) -> ItemState:
    return replace(
        state, name=entry.name, category=entry.category, unit=entry.unit, solvent=entry.solvent,
        is_retired=False, rules=_rules_after(state, entry), **_purity_after(entry, entry.solvent),
    )  # fmt: skip


def _changed(state: ItemState, entry: ItemChanged) -> ItemState:
    changes: dict[str, Any] = {"rules": _rules_after(state, entry)}
    for name in ("name", "is_retired"):
        if (value := getattr(entry, name)) is not None:
            changes[name] = value
    if entry.purity_percent is not None or entry.purity_volume_percent is not None:
        changes |= _purity_after(entry, state.solvent)
    return replace(state, **changes)


def _purity_after(entry: Item | ItemChanged, key: str | None) -> dict[str, Any]:
    """By mass, in whichever basis it was entered, and by volume where that was."""
    by_mass, by_volume = entry.purity_percent, entry.purity_volume_percent
    liquid = SOLVENTS.get(key or "")
    if liquid is not None and by_volume is not None:
        by_mass = round(mass_percent(liquid, by_volume), 2)
    return {"purity_percent": by_mass, "purity_volume_percent": by_volume}


def _rules_after(state: ItemState, entry: ItemSettings) -> Any:
    given = {name: value for name in RULE_NAMES if (value := getattr(entry, name)) is not None}
    if "container_sizes" in given:
        given["container_sizes"] = tuple(given["container_sizes"])
    return replace(state.rules, **given)


def _received(state: ItemState, entry: StockReceived) -> ItemState:
    day = entry.at.date()
    order = state.order(entry.order) if entry.order else None
    price_cents = _price(entry, order)
    lot = Lot(
        lot=entry.lot or day.isoformat(), quantity=entry.quantity, received_on=day,
        expires_on=entry.expires_on, supplier=entry.supplier or (order.supplier if order else ""),
        received_quantity=entry.quantity, price_cents=price_cents, containers=entry.containers,
    )  # fmt: skip
    lot = _as_held(state, lot)
    cents = price_cents
    if cents is None:
        cents = times(state.rules.list_price_cents or 0, entry.quantity)
    owed, state = state.owed, replace(state, owed=0.0)
    state = replace(
        state, lots=_with_lot(state.lots, lot), worth=receive(state.worth, entry.quantity, cents)
    )
    if order is not None:
        state = _delivered(state, order, entry.quantity, day)
    state = _moved(state, entry, entry.quantity, lot.lot, owed=owed)
    return _take(state, owed, None) if owed else state


def _price(entry: StockReceived, order: Order | None) -> int | None:
    """What a receipt cost: as entered, else its share of the order, so that shares add up."""
    if entry.price_cents is not None or order is None or order.price_cents is None:
        return entry.price_cents
    upto = [
        share(order.price_cents, min(part, order.quantity), order.quantity)
        for part in (order.received, order.received + entry.quantity)
    ]
    return upto[1] - upto[0]


def _with_lot(lots: tuple[Lot, ...], new: Lot) -> tuple[Lot, ...]:
    """The lots with a receipt; more of a lot that is there joins it, with the earlier expiry."""
    for place, lot in enumerate(lots):
        if lot.lot == new.lot:
            return (*lots[:place], _joined(lot, new), *lots[place + 1 :])
    if len(lots) < LOTS_KEPT:
        return (*lots, new)
    return (_joined(lots[0], lots[1]), *lots[2:], new)


def _joined(lot: Lot, more: Lot) -> Lot:
    prices = (lot.price_cents, more.price_cents)
    return replace(
        lot,
        quantity=rounded(lot.quantity + more.quantity),
        expires_on=min((d for d in (lot.expires_on, more.expires_on) if d), default=None),
        received_quantity=rounded(lot.received_quantity + more.received_quantity),
        price_cents=None if None in prices else sum(p for p in prices if p is not None),
        held="withdrawn" if "withdrawn" in (lot.held, more.held) else lot.held or more.held,
        held_reason=lot.held_reason or more.held_reason,
        containers=(lot.containers or 0) + (more.containers or 0) or None,
    )


def _delivered(state: ItemState, order: Order, quantity: float, day: date) -> ItemState:
    now = replace(order, received=rounded(order.received + quantity))
    if now.outstanding > 0:
        open_ = tuple(now if one.order == order.order else one for one in state.on_order)
        return replace(state, on_order=open_)
    return _closed(state, order, day, (day - order.placed_on).days)


def _closed(state: ItemState, order: Order, day: date, lead_days: int | None) -> ItemState:
    past = PastOrder(order.order, order.supplier, day, lead_days)
    return replace(
        state,
        on_order=tuple(one for one in state.on_order if one.order != order.order),
        past_orders=(*state.past_orders, past)[-ORDERS_KEPT:],
    )


def _used(state: ItemState, entry: StockUsed) -> ItemState:
    is_swap = entry.swap is not None or entry.purpose == "swap"
    amount = (entry.quantity, 0.0) if is_swap else (0.0, entry.quantity)
    weeks = with_use(state.weeks, week_of(entry.at.date()), *amount)
    before = state
    state = _take(state, entry.quantity, entry.lot, entry.at.date(), weeks=weeks)
    lots = entry.lot or ", ".join(_taken_from(before, state, entry.at.date()))
    return _moved(state, entry, -entry.quantity, lots, entry.purpose or "")


def _taken_from(before: ItemState, after: ItemState, today: date) -> list[str]:
    """The lots that a use without one was taken from, in that order."""
    left = {lot.lot: lot.quantity for lot in after.lots}
    order = _order(before, None, today)
    return [lot.lot for lot in order if left.get(lot.lot, 0.0) < lot.quantity]


def _scrapped(state: ItemState, entry: StockScrapped) -> ItemState:
    state = _take(state, entry.quantity, entry.lot)
    return _moved(state, entry, -entry.quantity, entry.lot or "", entry.reason)


def _order(state: ItemState, name: str | None, today: date | None) -> list[Lot]:
    """The lots in the order in which they are taken from.

    The named one first. A use passes over what is held or past its last day on that day (`today`).
    """

    def place(lot: Lot) -> tuple[bool, bool, bool, bool, date, date]:
        end = lot.use_by(state.rules) or date.max
        is_old = today is not None and end < today
        is_shut = lot.opened_on is None
        return lot.lot != name, lot.held != "", is_old, is_shut, end, lot.received_on

    return sorted(state.lots, key=place)


def _take(
    state: ItemState, quantity: float, name: str | None, today: date | None = None, **more: Any
) -> ItemState:
    """Take from the named lot, else from the open one, else from the one that expires first.

    `more` changes with it: a copy less for each entry of a long book.
    """
    taken: dict[str, Lot] = {}
    wanted = rounded(quantity)
    for lot in _order(state, name, today):
        part = min(wanted, lot.quantity)
        taken[lot.lot] = replace(lot, quantity=rounded(lot.quantity - part))
        wanted = rounded(wanted - part)
        if wanted <= 0:
            break
    lots = (taken.get(lot.lot, lot) for lot in state.lots)
    return replace(
        state,
        lots=tuple(lot for lot in lots if lot.quantity > 0),
        owed=rounded(state.owed + wanted),
        worth=issue(state.worth, rounded(quantity - wanted)),
        **more,
    )


def _opened(state: ItemState, entry: StockOpened) -> ItemState:
    day = entry.at.date()
    lots = tuple(
        replace(lot, opened_on=min(lot.opened_on or day, day)) if lot.lot == entry.lot else lot
        for lot in state.lots
    )
    return replace(state, lots=lots)


def _held(state: ItemState, entry: LotHeld) -> ItemState:
    """Held already, it is held for both reasons, and withdrawn by its maker it stays so."""
    known = next((one for one in state.held_lots if one.lot == entry.lot), None)
    if known is None:
        return _with_held(state, entry.lot, entry.standing, entry.reason)
    standing = "withdrawn" if known.standing == "withdrawn" else entry.standing
    return _with_held(state, entry.lot, standing, joined(known.reason, entry.reason))


def _released(state: ItemState, entry: LotReleased) -> ItemState:
    return _with_held(state, entry.lot, "", "")


def _with_held(state: ItemState, name: str, held: str, reason: str) -> ItemState:
    lots = tuple(
        replace(lot, held=held, held_reason=reason) if lot.lot == name else lot
        for lot in state.lots
    )
    others = tuple(one for one in state.held_lots if one.lot != name)
    more = (HeldLot(name, held, reason),) if held else ()
    return replace(state, lots=lots, held_lots=(*others, *more)[-LOTS_KEPT:])


def _as_held(state: ItemState, lot: Lot) -> Lot:
    """More of a lot that is held is held as well, even where the rest of it is used up."""
    found = next((one for one in state.held_lots if one.lot == lot.lot), None)
    return lot if found is None else replace(lot, held=found.standing, held_reason=found.reason)


def _counted(state: ItemState, entry: StockCounted) -> ItemState:
    before = state.on_hand
    state = replace(state, owed=0.0)
    lot = state.lot(entry.lot) if entry.lot else None
    there = (
        (lot.quantity if lot else 0.0)
        if entry.lot
        else rounded(sum(x.quantity for x in state.lots))
    )
    if entry.quantity < there:
        state = _take(state, there - entry.quantity, entry.lot)
    elif entry.quantity > there:
        state = _surplus(state, entry, entry.quantity - there)
    change = rounded(state.on_hand - before)
    weeks = spread(state, week_of(entry.at.date()), -change)
    state = replace(state, weeks=weeks)
    if not entry.lot:
        state = replace(state, counted_at=entry.at)
    return _moved(state, entry, change, entry.lot or "")


def _surplus(state: ItemState, entry: StockCounted, quantity: float) -> ItemState:
    """More was found than the books had: it joins its lot, or the one that came last."""
    name = entry.lot or (state.lots[-1].lot if state.lots else entry.at.date().isoformat())
    extra = _as_held(state, Lot(name, rounded(quantity), entry.at.date()))
    known = state.lot(name)
    if known is not None:  # found, not bought: its price stays that of what was bought
        grown = replace(known, quantity=rounded(known.quantity + quantity))
        lots = tuple(grown if lot.lot == name else lot for lot in state.lots)
    else:
        lots = _with_lot(state.lots, extra)
    return replace(state, lots=lots, worth=found(state.worth, rounded(quantity)))


def _ordered(state: ItemState, entry: OrderPlaced) -> ItemState:
    order = Order(
        order=entry.order, quantity=entry.quantity, placed_on=entry.at.date(),
        expected_on=entry.expected_on, supplier=entry.supplier or state.rules.supplier,
        price_cents=entry.price_cents,
    )  # fmt: skip
    others = tuple(one for one in state.on_order if one.order != order.order)
    return replace(state, on_order=(*others, order)[-ORDERS_KEPT:])


def _cancelled(state: ItemState, entry: OrderCancelled) -> ItemState:
    order = state.order(entry.order)
    return state if order is None else _closed(state, order, entry.at.date(), None)


def _moved(
    state: ItemState, entry: Entry, change: float, lot: str, detail: str = "", owed: float = 0.0
) -> ItemState:
    """Remember a movement; what was owed before a receipt is still to be taken off."""
    movement = Movement(
        entry.at, entry.kind, rounded(change), rounded(state.on_hand - owed), lot, entry.by,
        entry.id, detail, getattr(entry, "tank", None) or "",
    )  # fmt: skip
    first = state.first_week
    return replace(
        state,
        recent=(*state.recent, movement)[-RECENT_KEPT:],
        first_week=week_of(entry.at.date()) if first is None else first,
    )


_STEPS: Mapping[str, Callable[[ItemState, Any], ItemState]] = {
    Item.kind: _set_up,
    ItemChanged.kind: _changed,
    StockReceived.kind: _received,
    StockUsed.kind: _used,
    StockOpened.kind: _opened,
    LotHeld.kind: _held,
    LotReleased.kind: _released,
    StockCounted.kind: _counted,
    StockScrapped.kind: _scrapped,
    OrderPlaced.kind: _ordered,
    OrderCancelled.kind: _cancelled,
}

ITEM_BOOK = Thing(ITEM, ItemState, ItemState, after, lambda state: not state.is_retired, version=6)
