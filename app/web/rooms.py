"""The list of rooms, a new room, and a room's settings."""

from dataclasses import fields
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.services.rooms import UNITS, RoomForm, add_room, change_room
from app.store import queries
from app.store.tables import RoomRow
from app.web.deps import NowDep, RoomDep, SessionDep, StoreDep
from app.web.forms import FormDep, FormState
from app.web.render import page

router = APIRouter(prefix="/rooms")
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
    return _form(request, None, FormState(values))


@router.post("/new")
def add(request: Request, store: StoreDep, now: NowDep, typed: FormDep) -> Response:
    """Set up an empty room."""
    try:
        key = add_room(store, _room_form(typed), now)
    except FieldErrors as error:
        return _form(request, None, FormState(typed, error.by_field()), 422)
    return RedirectResponse(f"/rooms/{key}", 303)


@router.get("/{room}/settings")
def settings(request: Request, room: RoomDep) -> Response:
    """The form of a room's settings."""
    values = {name: str(getattr(room, name)) for name in ("name", "time_zone", *UNITS)}
    return _form(request, room, FormState(values))


@router.post("/{room}/settings")
def change(request: Request, store: StoreDep, room: RoomDep, typed: FormDep) -> Response:
    """Change a room's name, time zone or units."""
    try:
        change_room(store, room.key, _room_form(typed))
    except FieldErrors as error:
        return _form(request, room, FormState(typed, error.by_field()), 422)
    return RedirectResponse(f"/rooms/{room.key}", 303)


def _room_form(values: dict[str, str]) -> RoomForm:
    names = {field.name for field in fields(RoomForm)} - {"key"}
    return RoomForm(**{"name": "", **{name: values[name] for name in names if name in values}})


def _form(request: Request, room: RoomRow | None, form: FormState, status: int = 200) -> Response:
    context: dict[str, Any] = {
        "room": room,
        "form": form,
        "units": UNITS,
        "unit_labels": UNIT_LABELS,
        "unit_words": UNIT_WORDS,
    }
    answer = page(request, "rooms/form.html", context)
    answer.status_code = status
    return answer
