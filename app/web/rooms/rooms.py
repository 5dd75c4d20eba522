"""The list of rooms, a new room, and a room's settings."""

import uuid
from collections.abc import Sequence
from dataclasses import asdict, fields
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors
from app.domain.room_starts import STARTS
from app.domain.roomlog.kinds.baths import Tank
from app.domain.roomlog.naming import Names
from app.domain.solvents import SOLVENTS
from app.incoming import NowDep, SessionDep, StoreDep
from app.services.acts.like_another import like_another
from app.services.acts.rooms import (
    SETTINGS,
    UNITS,
    Begin,
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
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import RoomRow
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry
from app.web.render import page

router = APIRouter(prefix="/rooms")
TEMPLATE = "rooms/form.html"
LIKE = "like:"
BEGINS = ("start", "capacity_l", "solvent")
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
def new_room(request: Request, session: SessionDep) -> Response:
    """The form of a new room."""
    values = {
        "time_zone": "UTC", "start": "none", "solvent": "isopropanol",
        **{name: units[0] for name, units in UNITS.items()},
    }  # fmt: skip
    context = _context(FormState(values), queries.rooms_with_tanks(session))
    return page(request, TEMPLATE, {"room": None, **context})


@router.post("/new")
def add(request: Request, store: StoreDep, now: NowDep, typed: FormDep) -> Response:
    """Set up an empty room."""
    try:
        sent = typed.get("submission")
        added = add_room_once(
            store, _room_form(typed), now, sent and f":rooms/{sent}", _beginning(typed, now),
            {name: typed[name] for name in BEGINS if typed.get(name)},
        )  # fmt: skip
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        answer = page(request, TEMPLATE, {"room": None, **_context(form, _rooms_to_copy(store))})
        answer.status_code = 422
        return answer
    return RedirectResponse(f"/rooms/{added.key}", 303)


def _beginning(typed: dict[str, str], now: datetime) -> Begin | None:
    """What the form says that the room begins with; nothing where it says so, or is an older one.

    Raises:
        FieldErrors: no such beginning, or a size or solvent of its tanks that does not fit.
    """
    start = typed.get("start", "")
    if start.startswith(LIKE):
        return lambda session: like_another(session, start.removeprefix(LIKE), now, "")
    if start and start not in STARTS:
        raise FieldErrors([FieldError("start", "Choose what the room begins with.")])
    tanks = STARTS[start].tanks if start else ()
    if not tanks:
        return None
    keys = Names([])
    room = RoomRow(**asdict(_room_form(typed)), created_at_us=0)
    entries = []
    for tank in tanks:
        values = {
            "name": tank.name, "tank": keys.key_for(tank.name),
            "pair": keys.key_for(tank.rinsed_in) if tank.rinsed_in else "",
            "limit_percent": f"{tank.limit_percent:g}",
            "stop_percent": f"{tank.stop_percent:g}" if tank.stop_percent else "",
            "capacity_l": typed.get("capacity_l", ""), "solvent": typed.get("solvent", ""),
        }  # fmt: skip
        entries.append(read_entry(Tank.kind, values, room, "", now))
    return lambda _: entries


def _rooms_to_copy(store: Store) -> list[tuple[str, str]]:
    """The rooms in use that have a tank, to begin like one of them."""
    with reading(store) as session:
        return queries.rooms_with_tanks(session)


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


def _context(form: FormState, to_copy: Sequence[tuple[str, str]] = ()) -> dict[str, Any]:
    spec = Tank.specs()["capacity_l"]
    starts = [(key, start.title) for key, start in STARTS.items()]
    like = [(f"{LIKE}{key}", f"Same as {name}") for key, name in to_copy]
    return {
        "starts": [*starts, *like],
        "capacity": spec,
        "solvents": SOLVENTS,
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
        "units": UNITS,
        "unit_labels": UNIT_LABELS,
        "unit_words": UNIT_WORDS,
    }
