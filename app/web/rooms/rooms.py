"""The list of rooms, a new room, and a room's settings."""

import uuid
from dataclasses import fields
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors
from app.services.acts.rooms import (
    SETTINGS,
    UNITS,
    ChangedMeanwhile,
    RoomForm,
    add_room_once,
    change_room,
    print_of,
)
from app.services.deleting import deleted
from app.services.leading import require_lead
from app.services.rooms import find_room
from app.store import queries
from app.store.sessions import reading
from app.web.deps import NowDep, SessionDep, StoreDep, Visit, VisitDep
from app.web.forms import FormDep, FormState
from app.web.render import page

router = APIRouter(prefix="/rooms")
TEMPLATE = "rooms/form.html"
SEEN = "seen"
"""The field that says which settings were on the form."""
UNIT_WORDS = {
    "l": "litres", "us_gal": "US gallons", "c": "Celsius", "f": "Fahrenheit",
    "g": "grams", "oz": "ounces", "cm2": "square centimetres", "in2": "square inches",
}  # fmt: skip
UNIT_LABELS = {
    "volume_unit": "Volume", "temperature_unit": "Temperature",
    "mass_unit": "Mass", "area_unit": "Surface",
}  # fmt: skip


@router.get("")
def rooms_page(request: Request, session: SessionDep) -> Response:
    """All rooms of this database."""
    gone = queries.archived(session)
    every = queries.every_room(session)
    context = {
        "rooms": [room for room in every if room.id not in gone],
        "archived": [room for room in every if room.id in gone],
        "deleted": deleted(session),
    }
    return page(request, "rooms/list.html", context)


@router.get("/new")
def new_room(request: Request) -> Response:
    """The form of a new room."""
    values = {"time_zone": "UTC", **{name: units[0] for name, units in UNITS.items()}}
    return page(request, TEMPLATE, {"room": None, **_context(FormState(values))})


@router.post("/new")
def add(request: Request, store: StoreDep, now: NowDep, typed: FormDep) -> Response:
    """Set up an empty room."""
    try:
        sent = typed.get("submission")
        added = add_room_once(store, _room_form(typed), now, sent and f":rooms/{sent}")
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        answer = page(request, TEMPLATE, {"room": None, **_context(form)})
        answer.status_code = 422
        return answer
    return RedirectResponse(f"/rooms/{added.key}", 303)


@router.get("/{room}/settings")
def settings(visit: VisitDep) -> Response:
    """The form of a room's settings."""
    values = {name: str(getattr(visit.room, name)) for name in SETTINGS}
    return visit.page(TEMPLATE, _context(FormState({**values, SEEN: print_of(visit.room)})))


@router.post("/{room}/settings")
def change(visit: VisitDep, typed: FormDep) -> Response:
    """Change a room's name, time zone or units."""
    require_lead(visit.session, visit.room_id, visit.person)
    try:
        change_room(
            visit.store, visit.room.key, _room_form(typed),
            lambda room: typed.get(SEEN) == print_of(room),
        )  # fmt: skip
    except ChangedMeanwhile:
        return _changed_meanwhile(visit, typed)
    except FieldErrors as error:
        return visit.page(TEMPLATE, _context(FormState(typed, error.by_field())), 422)
    return RedirectResponse(visit.address(), 303)


def _changed_meanwhile(visit: Visit, typed: dict[str, str]) -> Response:
    """The form as typed, beside what somebody else has made of each value."""
    with reading(visit.store) as session:
        room = find_room(session, visit.room.key)
    errors = [
        FieldError(name, f"Somebody changed this meanwhile to: {_in_words(getattr(room, name))}.")
        for name in SETTINGS
        if typed.get(name) != getattr(room, name)
    ]
    form = FormState({**typed, SEEN: print_of(room)}, FieldErrors(errors).by_field())
    return visit.page(TEMPLATE, _context(form), 409)


def _in_words(value: str) -> str:
    return UNIT_WORDS.get(value, value)


def _room_form(typed: dict[str, str]) -> RoomForm:
    names = {field.name for field in fields(RoomForm)} - {"key"}
    return RoomForm(**{"name": "", **{name: typed[name] for name in names if name in typed}})


def _context(form: FormState) -> dict[str, Any]:
    return {
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
        "units": UNITS,
        "unit_labels": UNIT_LABELS,
        "unit_words": UNIT_WORDS,
    }
