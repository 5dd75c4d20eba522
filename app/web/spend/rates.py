"""Rates and budget of the room, and costs that no other entry covers."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.spending import PRICES, PURPOSES, OtherCost, PriceList
from app.services import roomlog
from app.services.spend.rates import prices_of, record_rates
from app.store import queries
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState, read_entry, text_of
from app.web.money import money_of
from app.web.spend.words import CATEGORY_WORDS

router = APIRouter(prefix="/rooms/{room}/spend/prices")
TEMPLATE = "spend/prices.html"
AMOUNTS = (
    "weekly_budget_cents", "labour_cents_per_hour", "inspection_minutes", "solvent_cents_per_l",
    "disposal_cents_per_drum", "disposal_cents_per_kg",
)  # fmt: skip
WORDS = ("currency", "locale")
HELP = {
    "solvent_cents_per_l": "For deliveries without invoice, order or list price.",
    "disposal_cents_per_drum": "For pickups without a cost of their own.",
    "disposal_cents_per_kg": "Instead of the price per drum.",
}


@router.get("")
def prices_page(visit: VisitDep) -> Response:
    """The rates in force."""
    return visit.page(TEMPLATE, _context(visit, FormState(_shown(visit)), FormState()))


@router.post("")
def change(visit: VisitDep, typed: FormDep) -> Response:
    """Store the rates that were changed."""
    shown = _shown(visit)
    changed = {
        name: typed[name].strip()
        for name in (*AMOUNTS, *WORDS)
        if typed.get(name, "").strip() != shown[name] and typed.get(name, "").strip()
    }
    sent = {**changed, "prices": PRICES, "by": visit.person, "at": typed.get("at", "")}
    try:
        entry = read_entry(PriceList.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, PriceList)
        if changed:
            key = typed.get("submission")
            record_rates(visit.store, visit.room.key, entry, visit.now, key)
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        return visit.page(TEMPLATE, _context(visit, form, FormState()), 422)
    return RedirectResponse(visit.address("spend", "prices") + "?saved=1", 303)


@router.post("/cost")
def add_cost(visit: VisitDep, typed: FormDep) -> Response:
    """Store a cost that no other entry covers."""
    sent = {**typed, "prices": PRICES}
    if not sent.get("tank"):
        sent.pop("tank", None)
    try:
        entry = read_entry(OtherCost.kind, sent, visit.room, visit.person, visit.now)
        done = roomlog.record(
            visit.store, visit.room.key, [entry], visit.now, typed.get("submission")
        )
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        context = _context(visit, FormState(_shown(visit)), form)
        return visit.page(TEMPLATE, context, 422)
    answer = RedirectResponse(visit.address("spend", "prices") + f"?cost={done.ids[0]}", 303)
    if entry.by:
        remember_person(answer, entry.by)
    return answer


def _shown(visit: Visit) -> dict[str, str]:
    prices, specs = prices_of(visit.session, visit.room_id), PriceList.specs()
    rates = prices.latest
    shown = {"currency": prices.currency, "locale": prices.locale}
    for name in AMOUNTS:
        value = getattr(rates, name) if rates else None
        shown[name] = "" if value is None else text_of(specs[name], value, visit.room)
    return shown


def _context(visit: Visit, form: FormState, cost: FormState) -> dict[str, Any]:
    prices = prices_of(visit.session, visit.room_id)
    board = queries.board(visit.session, visit.room_id, visit.now)
    return {
        "form": form,
        "cost": cost,
        "specs": PriceList.specs(),
        "amounts": AMOUNTS,
        "help": HELP,
        "money": money_of(prices),
        "prices": prices,
        "tanks": [("", "None"), *((tank.key, tank.name) for tank in board.tanks)],
        "purposes": [(key, CATEGORY_WORDS[key]) for key in PURPOSES],
        "was_saved": "saved" in visit.request.query_params,
        "saved_cost": visit.request.query_params.get("cost", "")[:64],
        "submission": form.value("submission") or uuid.uuid4().hex,
        "cost_submission": cost.value("submission") or uuid.uuid4().hex,
        "cost_specs": OtherCost.specs(),
    }
