"""Logging at the tank: washes, readings, top-ups, removals, solids and rejects, with undo.

The form of each kind is made from the kind's own fields, so that a new instrument or field appears
here by itself. Every form works as a plain page; scripts only make it quicker.
"""

import uuid
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import KINDS, REJECT_FINDINGS, Entry, Reading, Wash
from app.domain.roomlog.lines import own_fields, reading_specs
from app.services import roomlog
from app.services.entries import entry_of
from app.services.plausibility import entry_doubts, preview_reading
from app.store import queries
from app.store.queries import TankView
from app.store.tables import RoomRow
from app.web.deps import (
    NowDep,
    PersonDep,
    RoomDep,
    SessionDep,
    StoreDep,
    remember_person,
)
from app.web.forms import FormDep, FormState, read_entry, shown_values, unit_label
from app.web.render import fragment, page

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}")

TASKS = {
    "wash": "wash",
    "reading": "reading",
    "top-up": "top_up",
    "removal": "removal",
    "solids": "solids_removed",
    "reject": "reject",
}
RECENT_LOADS = 4


@dataclass(frozen=True)
class FormField:
    """A field as a form draws it."""

    name: str
    spec: FieldSpec
    unit: str
    is_required: bool


@dataclass(frozen=True)
class LoadTile:
    """A load that was washed here before, one touch away."""

    text: str
    resin: str
    values: dict[str, str]


@router.get("/log/{task}")
def log_form(
    request: Request, session: SessionDep, room: RoomDep, tank: str, task: str, now: NowDep,
    person: PersonDep, method: str = "",
) -> Response:  # fmt: skip
    """The form of a task."""
    values = {"by": person}
    if method:
        values["method"] = method
    context = _context(session, room, tank, task, FormState(values), now)
    return page(request, f"logbook/{task}.html", context)


@router.post("/log/{task}")
def log(
    request: Request, session: SessionDep, store: StoreDep, room: RoomDep, tank: str, task: str,
    now: NowDep, person: PersonDep, typed: FormDep,
) -> Response:  # fmt: skip
    """Store what the form says, or show it again with what does not fit."""
    values = {**typed, "tank": tank}
    kind = _kind(task)
    state = FormState(values)
    try:
        entry = read_entry(kind, values, room, person, now)
        odd = () if values.get("confirmed") else entry_doubts(session, room, entry, now)
        if not odd:
            done = roomlog.record(store, room.key, [entry], now, values.get("submission"))
            return saved(room, tank, done, entry)
        state = replace(state, doubts=odd)
    except FieldErrors as error:
        state = replace(state, errors=error.by_field())
    except FieldError as error:
        state = replace(state, errors={error.field: error.message})
    context = _context(session, room, tank, task, state, now)
    answer = page(request, f"logbook/{task}.html", context)
    answer.status_code = 422
    return answer


@router.get("/preview")
def preview(
    request: Request, session: SessionDep, room: RoomDep, tank: str, now: NowDep
) -> Response:
    """What a reading means, before it is saved."""
    values = {**request.query_params, "tank": tank}
    shown: dict[str, Any] = {"preview": None, "preview_message": ""}
    try:
        entry = read_entry("reading", values, room, "", now)
        assert isinstance(entry, Reading)
        shown["preview"] = preview_reading(session, room, entry, now)
    except FieldErrors as error:
        shown["preview_message"] = error.errors[0].message
    except FieldError as error:
        shown["preview_message"] = error.message
    context = _context(session, room, tank, "reading", FormState(values), now) | shown
    return fragment(request, "logbook/reading.html", "preview", context)


@router.post("/undo/{entry_id}")
def undo(
    store: StoreDep, room: RoomDep, tank: str, entry_id: str, now: NowDep, person: PersonDep
) -> Response:
    """Take back what was just entered."""
    roomlog.withdraw(store, room.key, entry_id, person, "Undone at once", now, None)
    return RedirectResponse(f"/rooms/{room.key}/tanks/{tank}?undone={entry_id}", 303)


def _context(
    session: Session, room: RoomRow, tank: str, task: str, state: FormState, now: datetime
) -> dict[str, Any]:
    assert room.id is not None
    kind = _kind(task)
    view = tank_view(session, room, tank, now)
    method = state.value("method") or _usual_method(session, room, tank)
    context = {
        "room": room,
        "now": now,
        "tank": view,
        "task": task,
        "title": KINDS[kind].summary,
        "form": state,
        "submission": state.value("submission") or uuid.uuid4().hex,
        "fields": _fields(kind, room),
        "people": queries.people(session, room.id),
        "resins": queries.resins(session, room.id),
        "preview": None,
        "preview_message": "",
    }
    if kind == Reading.kind:
        context |= {
            "instruments": INSTRUMENTS,
            "method": method,
            "method_fields": _method_fields(method, room),
        }
    if kind == Wash.kind:
        context["loads"] = recent_loads(session, room, tank)
    if task == "reject":
        context["findings"] = {key: key.replace("_", " ") for key in REJECT_FINDINGS}
    return context


def tank_view(session: Session, room: RoomRow, tank: str, now: datetime) -> TankView:
    """The tank of that key.

    Raises:
        NotFound: there is none.
    """
    assert room.id is not None
    view = queries.board(session, room.id, now, with_retired=True).tank(tank)
    if view is None:
        raise NotFound(f"There is no tank “{tank}” in this room.")
    return view


def recent_loads(session: Session, room: RoomRow, tank: str) -> list[LoadTile]:
    """The loads washed here lately, each once, the latest first."""
    assert room.id is not None
    names = {resin.key: resin.name for resin in queries.resins(session, room.id)}
    tiles: dict[str, LoadTile] = {}
    for row in queries.last_entries(session, room.id, tank, Wash.kind):
        wash = entry_of(row)
        assert isinstance(wash, Wash)
        tile = _tile(wash, names, room)
        tiles.setdefault(tile.text, tile)
    return list(tiles.values())[:RECENT_LOADS]


def _tile(wash: Wash, names: dict[str, str], room: RoomRow) -> LoadTile:
    values = shown_values(wash, own_fields(wash), room)
    sizes = [
        f"{values[name]} {unit_label(Wash.specs()[name], room)}"
        for name in ("parts", "area_cm2", "mass_g")
        if name in values
    ]
    kept = {
        name: values[name] for name in ("resin", "parts", "area_cm2", "mass_g") if name in values
    }
    text = f"{names.get(wash.resin, wash.resin)}, {', '.join(sizes)}"
    return LoadTile(text, wash.resin, kept)


def _fields(kind: str, room: RoomRow) -> dict[str, FormField]:
    entry = KINDS[kind]
    return {
        name: FormField(name, spec, unit_label(spec, room), name in entry.required())
        for name, spec in entry.specs().items()
    }


def _method_fields(method: str, room: RoomRow) -> list[FormField]:
    if method not in INSTRUMENTS:
        return []
    return [
        FormField(name, spec, unit_label(spec, room), True)
        for name, spec in reading_specs(method).items()
    ]


def _usual_method(session: Session, room: RoomRow, tank: str) -> str:
    assert room.id is not None
    for row in queries.last_entries(session, room.id, tank, Reading.kind, 1):
        last = entry_of(row)
        assert isinstance(last, Reading)
        return last.method
    return next(iter(INSTRUMENTS))


def saved(room: RoomRow, tank: str, done: roomlog.Recorded, entry: Entry) -> Response:
    """Back to the tank, where what was saved can be undone for a while."""
    entry_id = done.ids[0] if done.ids else ""
    answer = RedirectResponse(f"/rooms/{room.key}/tanks/{tank}?saved={entry_id}", 303)
    if entry.by:
        remember_person(answer, entry.by)
    return answer


def _kind(task: str) -> str:
    if task not in TASKS:
        raise NotFound("There is nothing at this address.")
    return TASKS[task]
