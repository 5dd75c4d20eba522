"""The shelf: every item against its reorder point, and what it threatens; the page of one item."""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.supplies.plan import ItemPlan
from app.domain.supplies.state import ItemState
from app.services.entries import entry_of
from app.services.supplies.shelf import Shelf, read_shelf
from app.store import queries
from app.store.things import book
from app.web.deps import Visit, VisitDep
from app.web.forms import FormState
from app.web.kinds.places import item_of, links_at
from app.web.supplies import advice, words
from app.web.supplies.movements import move_context, usual
from app.web.supplies.undoing import undo_address

router = APIRouter(prefix="/rooms/{room}/shelf")
LEDGER_SHOWN = 25
LINES_SHOWN = 60  # at first, the most pressing: more is searched than read
BAR_POINTS = 4  # reorder points that a full bar stands for


@dataclass(frozen=True)
class Bar:
    """On hand against the reorder point, in percent of the drawing's width."""

    filled: float
    point: float


@dataclass(frozen=True)
class Line:
    """An item as the shelf shows it."""

    plan: ItemPlan
    bar: Bar | None
    remark: advice.Remark
    on_hand: str
    point: str
    runs_out: str
    reach: str
    with_orders: str
    use_by: str


@router.get("")
def shelf_page(visit: VisitDep) -> Response:
    """All items, the most pressing first."""
    shelf = read_shelf(visit.session, visit.room, visit.now)
    category = visit.request.query_params.get("category", "")
    asked = visit.request.query_params
    find, is_all = asked.get("find", "").strip()[:80], asked.get("show") == "all"
    plans = [plan for plan in shelf.plans if category in ("", plan.state.category)]
    plans = [plan for plan in plans if _is_found(plan, find)]
    shown = plans if is_all else plans[:LINES_SHOWN]
    kept = {plan.state.category for plan in shelf.plans}
    at = visit.address("shelf")
    named = [(key, text) for key, text in words.CATEGORY_WORDS.items() if key in kept]
    context = {
        "lines": [line_of(plan, shelf, visit) for plan in shown],
        "more": len(plans) - len(shown),
        "counted": asked.get("counted", ""),
        "undo": undo_address(visit, asked["counted"]) if asked.get("counted") else "",
        "is_undone": "undone" in visit.request.query_params,
        "can_find": len(shelf.plans) > LINES_SHOWN,
        "find": find,
        "category": category,
        "shelf": shelf,
        "switches": [
            (at, "All", category == ""),
            *((f"{at}?category={key}", text, category == key) for key, text in named),
        ],
        "pressing": sum(plan.standing not in ("ok", "soon") for plan in shelf.plans),
        "fifo_cents": sum(plan.state.worth.fifo_cents for plan in shelf.plans),
        "average_cents": sum(plan.state.worth.average_cents for plan in shelf.plans),
        "money": words.money_here(visit),
        "threats": [
            (p.state, advice.threat_words(p, shelf.today, visit.room)) for p in shelf.threats
        ],
    }
    return visit.page("supplies/shelf.html", context)


def _is_found(plan: ItemPlan, find: str) -> bool:
    """Whether what is looked for stands in an item's name, place, supplier or key."""
    rules = plan.state.rules
    texts = (plan.state.name, rules.location, rules.supplier, plan.state.key)
    return any(find.casefold() in text.casefold() for text in texts)


@router.get("/items/{item}")
def item_page(visit: VisitDep, item: str) -> Response:
    """One item: the usual action first, then lots, outlook, value and ledger."""
    state = item_of(visit, item)
    shelf = read_shelf(visit.session, visit.room, visit.now)
    plan = shelf.plan(item)
    form = FormState(usual(state, visit))
    context = {**move_context(visit, state), "form": form, "submission": uuid.uuid4().hex}
    context["people"] = queries.people(visit.session, visit.room_id)
    context["links"] = links_at(visit, "item", item)
    context |= {"plan": plan, "shelf": shelf, "saved": None}
    names = context["tank_names"]
    context["saved"] = _saved(visit, state, names)
    context["ledger"] = _ledger(visit, state, names)
    if plan is not None:
        context["line"] = line_of(plan, shelf, visit)
        context["with_orders"] = advice.run_out_words(plan.run_out_with_orders, shelf.today)
        context["counted"] = advice.counted_words(plan, visit.room)
        context["pack"] = words.containers_words(plan.buy.containers, state, visit.room)
    return visit.page("supplies/item.html", context)


def line_of(plan: ItemPlan, shelf: Shelf, visit: Visit) -> Line:
    """An item in words."""
    room, state = visit.room, plan.state
    runs_out, reach = advice.on_hand_words(plan, shelf.today)
    first = plan.lots[0] if plan.lots else None
    return Line(
        plan, bar_of(plan), advice.remark(plan, shelf.today, room),
        words.quantity(state.on_hand, state, room),
        words.quantity(words.whole_up(plan.reorder_point, state), state, room)
        if plan.reorder_point > 0
        else "",
        runs_out, reach, advice.with_orders_words(plan, shelf.today, room),
        f"lot {first.lot} good until {words.day_words(first.use_by, shelf.today)}" if first else "",
    )  # fmt: skip


def bar_of(plan: ItemPlan) -> Bar | None:
    """All reorder points stand on one line; None where an item has none.

    The drawing's end is `BAR_POINTS` reorder points, so more than that looks full.
    """
    if plan.reorder_point <= 0:
        return None
    points = max(0.0, plan.state.on_hand) / plan.reorder_point
    return Bar(round(100 * min(points / BAR_POINTS, 1.0), 1), 100 / BAR_POINTS)


def _ledger(visit: Visit, state: ItemState, tanks: Mapping[str, str]) -> list[dict[str, Any]]:
    """The latest entries in the item's book, with what was on hand after the last of them."""
    moves, money = {move.entry: move for move in state.recent}, words.money_here(visit)
    lines = []
    for row in book(visit.session, visit.room_id, ITEM, state.key, LEDGER_SHOWN):
        entry, is_voided = entry_of(row), row.voided_by is not None
        move = None if is_voided else moves.get(row.uid)
        lines.append(
            {
                "id": row.uid, "at": entry.at, "by": entry.by, "title": KINDS[row.kind].summary,
                "text": words.move_words(entry, state, visit.room, money, tanks),
                "is_voided": is_voided,
                "balance": None if move is None else move.balance,
            }
        )  # fmt: skip
    return lines


def _saved(visit: Visit, state: ItemState, tanks: Mapping[str, str]) -> dict[str, Any] | None:
    """What was just entered or taken back."""
    row = visit.just_stored()
    if row is None:
        return None
    text = words.move_words(entry_of(row), state, visit.room, words.money_here(visit), tanks)
    return {
        "id": row.uid, "title": KINDS[row.kind].summary, "text": text,
        "is_undone": "undone" in visit.request.query_params,
        "is_voided": row.voided_by is not None,
    }  # fmt: skip
