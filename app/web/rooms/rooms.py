"""The list of rooms, a new room, and a room's settings."""

import uuid
from dataclasses import fields
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.services.acts.rooms import UNITS, RoomForm, add_room_once, change_room
from app.store import queries
from app.web.deps import NowDep, SessionDep, StoreDep, VisitDep
from app.web.forms import FormDep, FormState
from app.web.render import page

router = APIRouter(prefix="/rooms")
TEMPLATE = "rooms/form.html"
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
    return page(request, "rooms/list.html", {"rooms": queries.rooms(session)})


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
    values = {name: str(getattr(visit.room, name)) for name in ("name", "time_zone", *UNITS)}
    return visit.page(TEMPLATE, _context(FormState(values)))


@router.post("/{room}/settings")
def change(visit: VisitDep, typed: FormDep) -> Response:
    """Change a room's name, time zone or units."""
    try:
        change_room(visit.store, visit.room.key, _room_form(typed))
    except FieldErrors as error:
        return visit.page(TEMPLATE, _context(FormState(typed, error.by_field())), 422)
    return RedirectResponse(visit.address(), 303)


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
