"""Swaps ahead: the calendar, what each swap has and lacks, and the days that a lead decides."""

import uuid
from collections.abc import Mapping
from functools import partial
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.calendar_words import WEEKDAYS, day_words
from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.planning.scheduling import WEEKS
from app.domain.roomlog.fields import FieldSpec, check_value
from app.domain.roomlog.kinds.planning import KINDS_OF_PLANNING
from app.services.acts.swap_days import decide_day
from app.services.acts.undoing import undo as undo_entries
from app.services.entries import entry_of
from app.services.planning.days import DayDecision, decision_problems
from app.services.planning.proposal import Ahead, ahead
from app.services.storage import stored
from app.store import queries
from app.store.log import find_entry
from app.store.queries import TankView
from app.web.asking import SENT_BACK, ask, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState
from app.web.planning.decided import cost_rows, costs_until, decision_text, decisions
from app.web.planning.plain import chance_words
from app.web.planning.views import (
    calendar,
    cards,
    later_swaps,
    reason_text,
    short_text,
    tank_names,
)
from app.web.planning.words import Words
from app.web.words import too_early

router = APIRouter(prefix="/rooms/{room}/plan")
TEMPLATE, FORM = "planning/calendar.html", "planning/day.html"
SPANS = (8, 13, 26)
ACTIONS = {
    "pin": "Do it on this day",
    "postpone": "Not before this day",
    "release": "Use the proposed day",
}
WORTH_ASKING = 0.01
PICKUPS_SHOWN = 6
DAY = FieldSpec("day", "Day of the swap")
DECISIONS = {kind.kind for kind in KINDS_OF_PLANNING}


@router.get("")
def plan_page(visit: VisitDep) -> Response:
    """The calendar, what to order and book, and each swap with its lines."""
    asked = visit.request.query_params
    weeks = next((n for n in SPANS if str(n) == asked.get("weeks")), WEEKS)
    found = ahead(visit.session, visit.room, visit.now, weeks)
    say = Words(visit.room, found.today, found.workdays)
    return visit.page(
        TEMPLATE,
        {
            "found": found,
            "say": say,
            "weeks": weeks,
            "spans": [(f"?weeks={n}", f"{n} weeks", n == weeks) for n in SPANS],
            "calendar": calendar(found, say),
            "weekdays": WEEKDAYS,
            "cards": cards(visit, found, say),
            "pickups_shown": PICKUPS_SHOWN,
            "names": partial(tank_names, found),
            "first_short": short_text(found.board, found.first_short, say),
            "later": later_swaps(found, say),
            "later_short": short_text(found.board, found.first_later_short, say),
            "no_country": found.site.country == "",
            "too_early": too_early(found.board.tanks),
            "saved": _saved(visit, asked.get("saved", "")),
            "is_undone": "undone" in asked,
            "fire_area": stored(visit.session, visit.room_id, visit.now),
        },
    )


@router.get("/{tank}")
def day_form(visit: VisitDep, tank: str) -> Response:
    """Set the day of a swap, put it off, or leave it to the proposal."""
    found = ahead(visit.session, visit.room, visit.now)
    view = _tank(found, tank)
    plan, proposal = found.plan(view), found.proposal(tank)
    day = plan.on_day or (proposal.day if proposal else None)
    values = {"action": "pin", "day": day.isoformat() if day else "", "by": visit.person}
    return visit.page(FORM, _form(visit, found, view, FormState(values)))


@router.post("/{tank}")
def decide(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Store the decision; one that costs something only once that was shown and answered."""
    found = ahead(visit.session, visit.room, visit.now)
    view = _tank(found, tank)
    try:
        decision = _read(tank, typed, visit.person)
        problems = decision_problems(found, decision)
        if problems and not visit.is_repeated(typed):
            raise FieldErrors(problems)
        ask(visit, typed, [], lambda: _doubts(visit, found, decision))
        key = typed.get("submission")
        done = decide_day(visit.store, visit.room.key, decision, visit.now, key)
    except SENT_BACK as back:
        return visit.page(FORM, _form(visit, found, view, form_of(back, typed)), 422)
    return go_on(visit.address("plan") + f"?saved={done.ids[0]}", decision.by)


@router.post("/undo/{entry_id}")
def undo(visit: VisitDep, entry_id: str) -> Response:
    """Take a decision back that was just made; what stood before stands again."""
    undo_entries(
        visit.store, visit.room.key, [entry_id], visit.person, visit.now,
        lambda entry: entry.kind in DECISIONS,
    )  # fmt: skip
    return RedirectResponse(visit.address("plan") + f"?undone={entry_id}", 303)


def _tank(found: Ahead, key: str) -> TankView:
    tank = found.board.tank(key)
    if tank is None:
        raise NotFound(f"There is no tank “{key[:64]}” in use in this room.")
    return tank


def _read(tank: str, typed: Mapping[str, str], person: str) -> DayDecision:
    """The decision a form describes.

    Raises:
        FieldErrors: its day is no day.
    """
    action, text = typed.get("action", ""), typed.get("day", "").strip()
    day = None
    if text and action != "release":
        try:
            day = check_value("day", DAY, text)
        except FieldError as error:
            raise FieldErrors([error]) from None
    by = typed.get("by", person).strip()
    return DayDecision(tank, action, day, typed.get("reason", "").strip(), by)


def _doubts(visit: Visit, found: Ahead, decision: DayDecision) -> tuple[str, ...]:
    """What to ask about a day: it is not worked, it costs something; empty where nothing is worth
    a word."""
    why = "" if decision.day is None else found.workdays.why_not(decision.day)
    closed = (f"{day_words(decision.day, found.today)}: {why}.",) if why else ()
    return closed + _cost_doubts(visit, found, decision)


def _cost_doubts(visit: Visit, found: Ahead, decision: DayDecision) -> tuple[str, ...]:
    """What a later day costs."""
    candidate = found.candidates[decision.tank]
    if decision.day is None or candidate.early_on is None or decision.day < candidate.early_on:
        return ()
    (one,) = (cost for cost in costs_until(found, decision.tank, decision.day, visit.zone)[-1:])
    if one.chance < WORTH_ASKING:
        return ()
    days = f"{one.days_past:.1f} working days" if one.days_past >= 0.05 else "hardly a day"
    return (
        f"On {day_words(decision.day, found.today)} parts will have come out of a bath past its "
        f"limit with a chance of {chance_words(one.chance)}. On average that affects {days} of "
        "washes.",
    )


def _saved(visit: Visit, uid: str) -> dict[str, str] | None:
    """What was just saved, in words, with its id for taking it back."""
    if not uid:
        return None
    try:
        row = find_entry(visit.session, visit.room_id, uid)
    except NotFound:
        return None
    if row.kind not in DECISIONS or row.voided_by is not None:
        return None
    return {"id": uid, "text": decision_text(entry_of(row), visit)}


def _form(visit: Visit, found: Ahead, view: TankView, form: FormState) -> dict[str, Any]:
    proposal, say = found.proposal(view.key), Words(visit.room, found.today, found.workdays)
    plan = found.plan(view)
    card = next((card for card in cards(visit, found, say) if card.tank.key == view.key), None)
    return {
        "tank": view,
        "form": form,
        "actions": [
            item for item in ACTIONS.items() if item[0] != "release" or plan.mode != "free"
        ],
        "proposal": proposal,
        "when": say.day(proposal.day) if proposal and proposal.day else "",
        "reason": reason_text(visit, view),
        "costs": cost_rows(found, view.key, visit.zone),
        "card": card,
        "decided": [(entry_of(row), row) for row in decisions(visit, view)],
        "say_decision": lambda entry: decision_text(entry, visit),
        "leads": found.books.crew.leads,
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
