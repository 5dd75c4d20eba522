"""Pickups of waste: booked, cancelled, shipped with document and cost, the signed copy back."""

import json
import uuid
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldErrors, NotFound
from app.domain.planning.pickups import booking_doubts
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import (
    PICKUP,
    PickupBooked,
    PickupCancelled,
    PickupCopyReceived,
    PickupShipped,
)
from app.domain.waste.pickups import PickupState
from app.services.waste import Overview, overview, pickup_problems
from app.services.workdays import calendar_of
from app.store import queries
from app.store.log import LoggedEntry
from app.store.site import site
from app.store.things import book
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry, unit_label
from app.web.telling import lines_of
from app.web.waste import words
from app.web.words import State

router = APIRouter(prefix="/rooms/{room}/waste/pickups")
LIST, ONE = "waste/pickups.html", "waste/pickup.html"
ACTS = {
    "ship": PickupShipped.kind, "cancel": PickupCancelled.kind, "copy": PickupCopyReceived.kind,
}  # fmt: skip
STAGES = {
    "booked": "Booked", "cancelled": "Cancelled", "shipped": "Shipped, signed copy not back yet",
    "closed": "Closed",
}  # fmt: skip


@dataclass(frozen=True)
class PickupView:
    """A pickup as pages show it.

    Attributes:
        copy_due_on: the day by which the signed copy is back; None where none is awaited.
    """

    pickup: PickupState
    state: State
    tag: str
    drums: tuple[str, ...]
    copy_due_on: date | None


@router.get("")
def pickups_page(visit: VisitDep) -> Response:
    """The pickups, those that wait for something first, and the form to book one."""
    return _list_page(visit, FormState({"by": visit.person}))


@router.post("")
def book_pickup(visit: VisitDep, typed: FormDep) -> Response:
    """Book a pickup of the marked drums."""
    chosen = _marked(typed)
    try:
        sent = {**typed, "pickup": f"p-{uuid.uuid4().hex[:8]}", "drums": json.dumps(chosen)}
        entry = read_entry(PickupBooked.kind, sent, visit.room, visit.person, visit.now)
        enter(visit, typed, [entry], lambda: _doubts(visit, entry))
    except SENT_BACK as back:
        return _list_page(visit, form_of(back, typed), 422)
    return go_on(visit.address("waste", "pickups") + "?saved=1", entry.by)


def _doubts(visit: Visit, entry: Entry) -> tuple[str, ...]:
    """What to ask about a booking that the room would take.

    Raises:
        FieldErrors: it would not take it.
    """
    assert isinstance(entry, PickupBooked)
    if problems := pickup_problems(visit.session, visit.room, entry, visit.now):
        raise FieldErrors(problems)
    all_, place = overview(visit.session, visit.room, visit.now), site(visit.session, visit.room_id)
    lawful = {
        drum.name: clock.last_on
        for key in entry.drums
        if (drum := all_.all_drums.get(key)) is not None
        and (clock := all_.clock(drum, visit.zone, visit.now)) is not None
    }
    workdays = calendar_of(place, visit.today)
    return booking_doubts(entry.pickup_on, visit.today, place.pickup_lead_days, workdays, lawful)


@router.get("/{pickup}")
def pickup_page(visit: VisitDep, pickup: str) -> Response:
    """One pickup, and what happens to it next."""
    return _one_page(visit, pickup, FormState({"by": visit.person}))


@router.post("/{pickup}/{act}")
def do(visit: VisitDep, pickup: str, act: str, typed: FormDep) -> Response:
    """Ship it, cancel it, or note that the signed copy is back."""
    if act not in ACTS:
        raise NotFound("There is nothing at this address.")
    state = _find(overview(visit.session, visit.room, visit.now), pickup)
    chosen = _marked(typed) if act == "ship" else list(state.drums)
    try:
        sent = {**typed, "pickup": pickup, "drums": json.dumps(chosen)}
        entry = read_entry(ACTS[act], sent, visit.room, visit.person, visit.now)
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _one_page(visit, pickup, form_of(back, typed), act, 422)
    return go_on(visit.address("waste", "pickups", pickup) + "?saved=1", entry.by)


def _marked(typed: dict[str, str]) -> list[str]:
    """The drums marked on a form."""
    return [name.partition("+")[2] for name in typed if name.startswith("drum+")]


def _find(all_: Overview, key: str) -> PickupState:
    found = all_.pickups.get(key)
    if found is None:
        raise NotFound(f"There is no pickup “{key[:64]}” in this room.")
    return found


def _view(pickup: PickupState, all_: Overview, visit: Visit) -> PickupView:
    today = visit.today
    due_on = copy_due_on(pickup, all_, visit)
    state: State = "ok"
    tag = STAGES[pickup.stage]
    if pickup.is_booked and pickup.pickup_on is not None and pickup.pickup_on < today:
        state, tag = "over", "Did it come?"
    elif due_on is not None and due_on < today:
        state, tag = "over", "Signed copy missing"
    names = tuple(
        found.name if (found := all_.all_drums.get(key)) and found.name else key
        for key in pickup.drums
    )
    return PickupView(pickup, state, tag, names, due_on)


def copy_due_on(pickup: PickupState, all_: Overview, visit: Visit) -> date | None:
    """The day by which the signed copy is back, by the rule of the site's category."""
    days = all_.rules.value(all_.rules.category.copy_rule)
    if pickup.stage != "shipped" or pickup.shipped_at is None or days is None:
        return None
    return pickup.shipped_at.astimezone(visit.zone).date() + timedelta(days=int(days))


def _list_page(visit: Visit, form: FormState, status: int = 200) -> Response:
    all_ = overview(visit.session, visit.room, visit.now)
    views = [_view(pickup, all_, visit) for pickup in all_.pickups.values()]
    waiting = [view for view in views if view.pickup.stage in ("booked", "shipped")]
    past = [view for view in views if view.pickup.stage in ("cancelled", "closed")]
    lead_days = site(visit.session, visit.room_id).pickup_lead_days
    context = {
        "waiting": sorted(waiting, key=_day_of),
        "past": list(reversed(past))[:50],
        "choices": [
            words.drum_view(drum, all_, visit.zone, visit.now)
            for drum in all_.open_drums
            if all_.pickup_of(drum) is None
        ],
        "form": form,
        "rules": all_.rules,
        "lead_days": lead_days,
        "copy_rule": all_.rules.rules.get(all_.rules.category.copy_rule),
        "people": queries.people(visit.session, visit.room_id),
        "local_day": words.local_day,
        "was_saved": "saved" in visit.request.query_params,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(LIST, context, status)


def _day_of(view: PickupView) -> tuple[date, str]:
    shipped_at: datetime | None = view.pickup.shipped_at
    day = shipped_at.date() if shipped_at else view.pickup.pickup_on
    return day or date.max, view.pickup.key


def _one_page(
    visit: Visit, key: str, form: FormState, act: str = "", status: int = 200
) -> Response:
    all_ = overview(visit.session, visit.room, visit.now)
    pickup = _find(all_, key)
    rows = book(visit.session, visit.room_id, PICKUP, key)
    specs = PickupShipped.specs()
    context = {
        "view": _view(pickup, all_, visit),
        "pickup": pickup,
        "drum_views": [
            words.drum_view(drum, all_, visit.zone, visit.now)
            for key in pickup.drums
            if (drum := all_.all_drums.get(key)) is not None
        ],
        "form": form,
        "act": act,
        "rules": all_.rules,
        "copy_rule": all_.rules.rules.get(all_.rules.category.copy_rule),
        "marks": all_.rules.marks,
        "keep_until": words.keep_until(pickup.shipped_at, all_.rules, visit.zone),
        "keep_rule": all_.rules.rules.get("keep_years"),
        "specs": specs,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "log": lines_of(visit.session, visit.room, [LoggedEntry(row, None) for row in rows]),
        "people": queries.people(visit.session, visit.room_id),
        "local_day": words.local_day,
        "was_saved": "saved" in visit.request.query_params,
        "submission": uuid.uuid4().hex,
    }
    return visit.page(ONE, context, status)
