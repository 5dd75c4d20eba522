"""Rates and budget of the room, and costs that no other entry covers."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds.spending import PRICES, PURPOSES, OtherCost, PriceList
from app.domain.spend.cost_lines import CATEGORY_WORDS
from app.domain.spend.price_book import PricesState
from app.domain.spend.weeks import IsoWeek
from app.services.acts.rates import record_rates
from app.services.spend.price_book import changes_of, prices_of
from app.services.spend.weekly_costs import spend_of
from app.store import queries
from app.web.asking import SENT_BACK, ask, confirmed, enter, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.filters import number
from app.web.forms import FormDep, FormState, read_entry, text_of
from app.web.money import Money, money_of

router = APIRouter(prefix="/rooms/{room}/spend/prices")
TEMPLATE = "spend/prices.html"
AMOUNTS = (
    "weekly_budget_cents", "labour_cents_per_hour", "inspection_minutes", "solvent_cents_per_l",
    "disposal_cents_per_drum", "disposal_cents_per_kg", "reject_cents",
)  # fmt: skip
WORDS = ("currency", "locale")
MANY_WEEKS, LEAST_ODD_CENTS = (
    4,
    50_000,
)  # common practice, no source: a slip is ten or a hundred times
NO_CURRENCY = "A room keeps its currency, and amounts are not converted."
HELP = {
    "weekly_budget_cents": "If empty: no budget.",
    "labour_cents_per_hour": "If empty: labour costs nothing.",
    "solvent_cents_per_l": "For deliveries without an invoice, order or list price.",
    "disposal_cents_per_drum": "Used without a price per kg. Each pour pays its share of a drum.",
    "disposal_cents_per_kg": "For each kg poured. It overrides the price per drum.",
    "reject_cents": (
        "What one logged reject costs: resin, machine time, handling. Only used for limits."
    ),
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
        name: typed[name].strip() or ("0" if name in AMOUNTS else "")
        for name in (*AMOUNTS, *WORDS)
        if name in typed and typed[name].strip() != shown[name]
    }
    sent = {**changed, "prices": PRICES, "by": visit.person, "at": typed.get("at", "")}
    try:
        if changed.get("currency") == "":
            raise FieldErrors([FieldError("currency", NO_CURRENCY)])
        entry = read_entry(PriceList.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, PriceList)
        if changed:
            ask(visit, typed, [entry])
            record_rates(
                visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
                confirmed=confirmed(typed),
            )  # fmt: skip
    except SENT_BACK as back:
        return visit.page(TEMPLATE, _context(visit, form_of(back, typed), FormState()), 422)
    return RedirectResponse(visit.address("spend", "prices") + "?saved=1", 303)


@router.post("/cost")
def add_cost(visit: VisitDep, typed: FormDep) -> Response:
    """Store a cost that no other entry covers."""
    sent = {**typed, "prices": PRICES}
    if not sent.get("tank"):
        sent.pop("tank", None)
    try:
        entry = read_entry(OtherCost.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, OtherCost)
        done = enter(visit, typed, [entry], lambda: _doubts(visit, entry))
    except SENT_BACK as back:
        form = form_of(back, typed)
        context = _context(visit, FormState(_shown(visit)), form)
        return visit.page(TEMPLATE, context, 422)
    return go_on(visit.address("spend", "prices") + f"?cost={done.ids[0]}", entry.by)


def _shown(visit: Visit) -> dict[str, str]:
    prices, specs = prices_of(visit.session, visit.room_id), PriceList.specs()
    rates = prices.latest
    shown = {"currency": prices.currency, "locale": prices.locale}
    for name in AMOUNTS:
        value = getattr(rates, name) if rates else None
        shown[name] = text_of(specs[name], value, visit.room) if value else ""
    return shown


def _disposal_words(prices: PricesState, money: Money) -> str:
    """Which price of disposal applies now."""
    rates = prices.latest
    per_kg = (rates and rates.disposal_cents_per_kg) or 0
    per_drum = (rates and rates.disposal_cents_per_drum) or 0
    if per_kg and per_drum:
        return (
            f"Waste is charged by the kilogram, {money(per_kg)}. The price per drum,"
            f" {money(per_drum)}, is not used. Empty the price per kg to use it."
        )
    if per_kg:
        return f"Waste is charged by the kilogram, {money(per_kg)}."
    if per_drum:
        return f"Waste is charged by the drum, {money(per_drum)}, and each pour pays its share."
    return (
        "No disposal price is set. Waste is charged per kg as on the last invoiced pickup, or "
        "when it is shipped if there is none."
    )


def _changed(name: str, before: float | None, after: float | None, money: Money) -> str:
    """A rate that changed, in words."""

    def text(value: float | None) -> str:
        if value is None:
            return "none"
        return f"{number(value, 0)} min" if name == "inspection_minutes" else money(value)

    title = PriceList.specs()[name].label
    was = f" (before: {text(before)})" if before is not None else ""
    return f"{title}: {text(after)}{was}"


def _doubts(visit: Visit, entry: OtherCost) -> tuple[str, ...]:
    """An amount that looks like a slip of the hand: more than the dearest weeks of a year."""
    prices, now = prices_of(visit.session, visit.room_id), IsoWeek.at(visit.now, visit.zone)
    spent = spend_of(visit.session, visit.room).cents(now.plus(-52), now).values()
    budget = (prices.latest and prices.latest.weekly_budget_cents) or 0
    dearest = max([budget, *spent], default=0)
    if entry.cost_cents <= MANY_WEEKS * max(dearest, LEAST_ODD_CENTS):
        return ()
    money = money_of(prices)
    return (
        f"{money(entry.cost_cents)} is more than {MANY_WEEKS} times the dearest week of the last"
        f" year or its budget ({money(dearest)}).",
    )


def _context(visit: Visit, form: FormState, cost: FormState) -> dict[str, Any]:
    prices = prices_of(visit.session, visit.room_id)
    board = queries.board(visit.session, visit.room_id, visit.now)
    return {
        "form": form,
        "cost": cost,
        "people": queries.people(visit.session, visit.room_id),
        "specs": PriceList.specs(),
        "amounts": AMOUNTS,
        "help": HELP,
        "disposal": _disposal_words(prices, money_of(prices)),
        "changes": [
            (one, [_changed(*rate, money_of(prices)) for rate in one.rates])
            for one in changes_of(visit.session, visit.room_id)
        ],
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
