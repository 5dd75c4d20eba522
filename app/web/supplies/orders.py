"""Orders: what to order by which day, what is on its way, what came of it."""

import csv
import io
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from urllib.parse import quote

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldErrors
from app.domain.money import plain
from app.domain.roomlog.cells import guarded
from app.domain.roomlog.kinds.supplies import (
    ITEM,
    OrderPlaced,
    StockEntry,
)
from app.domain.roomlog.naming import slug
from app.domain.supplies.plan import ItemPlan
from app.domain.supplies.state import ItemState, Order
from app.services import door
from app.services.storage import stored
from app.services.supplies.shelf import Shelf, read_shelf
from app.services.workdays import calendar_of
from app.store.site import site
from app.store.things import things
from app.web.asking import SentBack, ask, confirmed
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState
from app.web.supplies import advice, words
from app.web.supplies.forms import read_stock
from app.web.supplies.to_order import ToOrder, to_order

router = APIRouter(prefix="/rooms/{room}/shelf")
LINES_SHOWN = 60  # of one supplier: a form holds no more fields
TITLES = (
    "Supplier", "Item", "Key", "Order by", "Quantity", "Unit", "Containers", "On hand", "On order",
    "Reorder point", "Runs out, orders counted", "Price",
)  # fmt: skip


@dataclass(frozen=True)
class Group:
    """What is to be ordered from one supplier, the latest day, and how many are not shown."""

    supplier: str
    key: str
    order_by: str
    expected: str
    suggested: str
    lines: list[ToOrder]
    more: int
    is_sent: bool


@dataclass(frozen=True)
class Placed:
    """One item of an order that is on its way."""

    state: ItemState
    order: Order


@router.get("/orders")
def order_page(visit: VisitDep) -> Response:
    """The order list by supplier, and the orders on their way."""
    return _order_page(visit, FormState())


@router.post("/orders")
def place_order(visit: VisitDep, typed: FormDep) -> Response:
    """Enter that the ticked items of a supplier were ordered, all in one order."""
    states = kept_items(visit)
    ticked = [key for name in typed if (key := name.removeprefix("take.")) != name]
    entries: list[StockEntry] = []
    errors: dict[str, str] = {}
    for key in ticked:
        if key not in states:
            continue
        sent = {
            "quantity": typed.get(f"quantity.{key}", ""), "order": typed.get("order", "").strip(),
            "supplier": typed.get("supplier", ""), "expected_on": typed.get("expected_on", ""),
            "price_cents": typed.get(f"price_cents.{key}", ""),
            "by": typed.get("by", visit.person),
        }  # fmt: skip
        collect(visit, OrderPlaced.kind, sent, states[key], entries, errors)
    if not ticked:
        errors["take"] = "Tick what was ordered."
    try:
        if not errors:
            ask(visit, typed, entries, lambda: _doubts(visit, entries))
    except SentBack as back:
        return _order_page(visit, back.form, 422)
    store_lines(visit, typed, entries, errors)
    if errors:
        return _order_page(visit, FormState(typed, errors), 422)
    return after_order(visit, typed.get("order", "").strip(), "placed", entries, typed)


def _doubts(visit: Visit, entries: Sequence[StockEntry]) -> tuple[str, ...]:
    """A delivery that is expected on a day on which the site does not work."""
    workdays = calendar_of(site(visit.session, visit.room_id), visit.today)
    days = {
        entry.expected_on
        for entry in entries
        if isinstance(entry, OrderPlaced) and entry.expected_on is not None
    }
    return tuple(
        f"{words.day_words(day, visit.today)} is not a working day here ({why}), so nobody takes "
        "the delivery in."
        for day in sorted(days)
        if (why := workdays.why_not(day))
    )


@router.get("/orders.csv")
def order_table(visit: VisitDep) -> Response:
    """The order list as a table for a spreadsheet."""
    shelf = read_shelf(visit.session, visit.room, visit.now)
    out = io.StringIO()
    table = csv.writer(out, lineterminator="\r\n")
    table.writerow(TITLES)
    for plan in sorted(_due(shelf, ""), key=lambda one: (one.state.rules.supplier, one.state.name)):
        table.writerow([guarded(cell) for cell in _cells(plan, visit)])
    name = f"orders-{shelf.today.isoformat()}.csv"
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response("\ufeff" + out.getvalue(), media_type="text/csv", headers=headers)


def collect(
    visit: Visit,
    kind: str,
    sent: Mapping[str, str],
    state: ItemState,
    entries: list[StockEntry],
    errors: dict[str, str],
) -> None:
    """One line of a form with many items as an entry, or its messages at its fields."""
    try:
        entries.append(read_stock(kind, sent, state, visit))
    except FieldErrors as error:
        errors |= {_place(name, state.key): text for name, text in error.by_field().items()}


def _place(name: str, key: str) -> str:
    return name if name in ("order", "expected_on", "supplier", "by", "at") else f"{name}.{key}"


def store_lines(
    visit: Visit, typed: Mapping[str, str], entries: list[StockEntry], errors: dict[str, str]
) -> None:
    if errors:
        return
    try:
        door.enter(
            visit.store, visit.room.key, entries, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except FieldErrors as error:
        key = entries[error.place or 0].item
        errors |= {
            _place("quantity" if name == "item" else name, key): text
            for name, text in error.by_field().items()
        }


def after_order(
    visit: Visit, order: str, what: str, entries: list[StockEntry], typed: Mapping[str, str]
) -> Response:
    """Back to the order, with what was done and the key under which it can be taken back."""
    sent_as = quote(typed.get("submission", ""), safe="")
    to = visit.address("shelf", "orders", order) + f"?{what}={sent_as}"
    return go_on(to, entries[0].by if entries else "")


def kept_items(visit: Visit) -> dict[str, ItemState]:
    found = things(visit.session, visit.room_id, ITEM)
    return {key: state for key, state in found.items() if state.name}


def placed_orders(states: Mapping[str, ItemState]) -> dict[str, list[Placed]]:
    """The orders on their way, the one expected first first."""
    found: dict[str, list[Placed]] = {}
    for state in states.values():
        for order in state.on_order:
            found.setdefault(order.order, []).append(Placed(state, order))
    first = {
        key: min(one.order.expected_on or date.max for one in all_) for key, all_ in found.items()
    }
    return {key: found[key] for key in sorted(found, key=lambda key: (first[key], key))}


def _due(shelf: Shelf, show: str) -> list[ItemPlan]:
    """What is to be ordered now or within two weeks; with `show` all, everything that is kept."""
    return [plan for plan in shelf.plans if show == "all" or plan.is_listed(shelf.today)]


def _groups(visit: Visit, shelf: Shelf, show: str, form: FormState) -> list[Group]:
    by_supplier: dict[str, list[ItemPlan]] = {}
    for plan in _due(shelf, show):
        by_supplier.setdefault(plan.state.rules.supplier, []).append(plan)
    groups = [_group(visit, shelf, name, plans, form) for name, plans in by_supplier.items()]
    return [group for _, group in sorted(groups, key=lambda pair: (pair[0], pair[1].supplier))]


def _group(
    visit: Visit, shelf: Shelf, supplier: str, plans: list[ItemPlan], form: FormState
) -> tuple[date, Group]:
    plans.sort(key=lambda plan: (plan.order_by or date.max, plan.state.name))
    more, plans = max(0, len(plans) - LINES_SHOWN), plans[:LINES_SHOWN]
    latest = min((plan.order_by for plan in plans if plan.order_by), default=date.max)
    days = {plan.comes_on for plan in plans}
    expected = min(days).isoformat() if len(days) == 1 else ""
    key = slug(supplier) if supplier else "order"
    sent = "group" in form.values and form.value("group") == key
    is_sent = sent or ("supplier" in form.values and form.value("supplier") == supplier)
    money = words.money_here(visit)
    lines = [to_order(visit, shelf, plan, form, is_sent, money) for plan in plans]
    suggested = _free_number(f"{key.split('-')[0][:20]}-{shelf.today:%y%m%d}", shelf)
    shown = "" if latest == date.max else words.day_words(latest, shelf.today)
    return latest, Group(supplier, key, shown, expected, suggested, lines, more, is_sent)


def _free_number(wanted: str, shelf: Shelf) -> str:
    """An order number that no order of these items has."""
    taken = {order.order for plan in shelf.plans for order in plan.state.on_order}
    taken |= {order.order for plan in shelf.plans for order in plan.state.past_orders}
    numbered = (f"{wanted}-{number}" for number in range(2, 1000))
    return wanted if wanted not in taken else next(n for n in numbered if n not in taken)


def _cells(plan: ItemPlan, visit: Visit) -> list[str]:
    state, room = plan.state, visit.room
    out = plan.run_out_with_orders.expected_on
    return [
        state.rules.supplier, state.name, state.key,
        plan.order_by.isoformat() if plan.order_by else "",
        words.typed_quantity(plan.buy.quantity, state, room), words.unit_of(state, room),
        words.containers_words(plan.buy.containers, state, room),
        words.typed_quantity(state.on_hand, state, room),
        words.typed_quantity(state.outstanding, state, room),
        words.figure(plan.reorder_point, state, room), out.isoformat() if out else "",
        "" if plan.buy.cost_cents is None else plain(plan.buy.cost_cents, room.currency),
    ]  # fmt: skip


def _order_page(visit: Visit, form: FormState, status: int = 200) -> Response:
    shelf = read_shelf(visit.session, visit.room, visit.now)
    show = visit.request.query_params.get("show", "") or form.value("show")
    context = {
        "groups": _groups(visit, shelf, show, form),
        "placed": placed_orders(kept_items(visit)),
        "obstacles": [
            (plan.state, text)
            for plan in shelf.plans
            if (text := advice.obstacle_words(plan, shelf.today, visit.room))
        ],
        "today": shelf.today,
        "is_stocked": bool(shelf.plans),
        "show": show,
        "form": form,
        "submission": uuid.uuid4().hex,
        "words": words,
        "is_undone": "undone" in visit.request.query_params,
        "fire_area": stored(visit.session, visit.room_id, visit.now),
    }
    return visit.page("supplies/orders.html", context, status)
