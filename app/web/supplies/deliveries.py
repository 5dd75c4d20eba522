"""One order: what came of it, in parts or whole, and what will not come."""

import uuid
from datetime import date
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import NotFound
from app.domain.roomlog.kinds.supplies import OrderCancelled, StockEntry, StockReceived
from app.domain.supplies.state import PastOrder
from app.store import queries
from app.web.asking import SentBack, ask
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState
from app.web.supplies import words
from app.web.supplies.orders import after_order, collect, kept_items, placed_orders, store_lines
from app.web.supplies.undoing import undo_address

router = APIRouter(prefix="/rooms/{room}/shelf")


@router.get("/orders/{order}")
def one_order(visit: VisitDep, order: str) -> Response:
    """An order: what is still to come, and the form for what came."""
    return _one_order(visit, order, FormState())


GIVEN = ("quantity", "lot", "expires_on", "price_cents")


@router.post("/orders/{order}/receive")
def receive(visit: VisitDep, order: str, typed: FormDep) -> Response:
    """Put on the shelf what came of an order; empty lines did not come yet."""
    entries: list[StockEntry] = []
    errors: dict[str, str] = {}
    states = kept_items(visit)
    keys = [key for name in typed if (key := name.removeprefix("quantity.")) != name]
    given = [key for key in keys if key in states and typed[f"quantity.{key}"].strip()]
    for key in given:
        sent = {name: typed.get(f"{name}.{key}", "") for name in GIVEN}
        sent |= {"order": order, "by": typed.get("by") or visit.person}
        sent |= {name: typed.get(name, "") for name in ("at", "note")}
        collect(visit, StockReceived.kind, sent, states[key], entries, errors)
    if not given:
        errors["received"] = "Enter how much of at least one item came."
    try:
        if not errors:
            ask(visit, typed, entries)
    except SentBack as back:
        return _one_order(visit, order, back.form, 422)
    store_lines(visit, typed, entries, errors)
    if errors:
        return _one_order(visit, order, FormState(typed, errors), 422)
    return after_order(visit, order, "received", entries, typed)


@router.post("/orders/{order}/cancel")
def cancel(visit: VisitDep, order: str, typed: FormDep) -> Response:
    """Enter that what is still to come will not come."""
    entries: list[StockEntry] = [
        OrderCancelled(
            at=visit.now, entered_at=visit.now, by=visit.person, item=placed.state.key, order=order
        )
        for placed in placed_orders(kept_items(visit)).get(order, ())
    ]
    if not entries:
        raise NotFound(f"Nothing is left to come on order “{order[:64]}”.")
    errors: dict[str, str] = {}
    store_lines(visit, typed, entries, errors)
    if errors:
        return _one_order(visit, order, FormState(typed, errors), 422)
    return after_order(visit, order, "cancelled", entries, typed)


def _one_order(visit: Visit, key: str, form: FormState, status: int = 200) -> Response:
    states = kept_items(visit)
    lines = placed_orders(states).get(key, [])
    past = [(s, past) for s in states.values() for past in s.past_orders if past.order == key]
    if not lines and not past:
        raise NotFound(f"There is no order “{key[:64]}”.")
    today = visit.today
    asked = visit.request.query_params
    done = next((what for what in ("placed", "received", "cancelled") if what in asked), "")
    context: dict[str, Any] = {
        "key": key,
        "lines": lines,
        "past": [(state, _past_words(one, today)) for state, one in past],
        "values": {
            placed.state.key: words.typed_quantity(
                placed.order.outstanding, placed.state, visit.room
            )
            for placed in lines
        },
        "done": "undone" if "undone" in asked else done,
        "undo": undo_address(visit, asked[done]) if done else "",
        "today": today,
        "form": form,
        "submission": uuid.uuid4().hex,
        "people": queries.people(visit.session, visit.room_id),
        "words": words,
        "money": words.money_here(visit),
    }
    return visit.page("supplies/order.html", context, status)


def _past_words(past: PastOrder, today: date) -> str:
    day = words.day_words(past.closed_on, today)
    if past.lead_days is None:
        return f"cancelled on {day}"
    days = "1 day" if past.lead_days == 1 else f"{past.lead_days} days"
    return f"complete on {day}, {days} after it was ordered"
