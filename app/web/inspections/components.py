"""The parts of a tank or station: set up, one with its history, changed."""

import uuid
from datetime import datetime
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.inspections.components import ComponentState
from app.domain.inspections.parts import PARTS, sitting
from app.domain.inspections.rules import NEEDS_PHOTO
from app.domain.inspections.terms import PART_NAMES
from app.domain.roomlog.kinds.inspections import COMPONENT, Component, ComponentChanged
from app.domain.roomlog.kinds.supplies import ITEM
from app.services import door
from app.services.curing.stations import find_station
from app.services.inspections import reading
from app.store.log import LoggedEntry
from app.store.part_use import use_since
from app.store.photo_history import photo_history
from app.store.things import book, thing, things
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry
from app.web.inspections.inspection import places, shared
from app.web.telling import lines_of

router = APIRouter(prefix="/rooms/{room}")
SETUP = "inspections/setup.html"
PART = "inspections/part.html"
MOST_IMPELLERS = 12
OF_IMPELLERS, OF_TANKS, OF_STATIONS = sitting("impeller"), sitting("tank"), sitting("station")
PHOTOS_A_PAGE = 24
LOG_LINES = 12
REPLACED = {
    "finding": "worn out", "mate": "with its mate", "planned": "planned", "other": "other reason",
}  # fmt: skip


@router.get("/tanks/{tank}/parts")
def tank_parts(visit: VisitDep, tank: str) -> Response:
    """Which parts sit in a tank."""
    visit.tank(tank)
    return _setup(visit, tank, "", FormState())


@router.get("/stations/{station}/parts")
def station_parts(visit: VisitDep, station: str) -> Response:
    """Which parts a curing station has."""
    find_station(visit.session, visit.room_id, station)
    return _setup(visit, "", station, FormState())


@router.post("/tanks/{tank}/parts")
def add_to_tank(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Add parts to a tank, all or none."""
    visit.tank(tank)
    return _add(visit, tank, "", typed)


@router.post("/stations/{station}/parts")
def add_to_station(visit: VisitDep, station: str, typed: FormDep) -> Response:
    """Add parts to a station."""
    find_station(visit.session, visit.room_id, station)
    return _add(visit, "", station, typed)


@router.get("/parts/{component}")
def part_page(visit: VisitDep, component: str) -> Response:
    """A position: the part in it, those before it, its photos, newest first."""
    return _part(visit, component, FormState())


@router.post("/parts/{component}")
def change(visit: VisitDep, component: str, typed: FormDep) -> Response:
    """Change its name, mate or item on the shelf, or take it off the list."""
    _find(visit, component)
    try:
        sent = {**typed, "component": component}
        entry = read_entry(ComponentChanged.kind, sent, visit.room, visit.person, visit.now)
        door.enter(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _part(visit, component, FormState(typed, error.by_field()), 422)
    return RedirectResponse(visit.address("parts", component), 303)


def _add(visit: Visit, tank: str, station: str, typed: dict[str, str]) -> Response:
    try:
        entries = _entries(visit, tank, station, typed)
        door.enter(visit.store, visit.room.key, entries, visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _setup(visit, tank, station, FormState(typed, error.by_field()), 422)
    where = ("tanks", tank) if tank else ("stations", station)
    return RedirectResponse(visit.address(*where, "inspection"), 303)


def _entries(visit: Visit, tank: str, station: str, typed: dict[str, str]) -> list[Component]:
    """The positions asked for: so many more impellers with washer and O-ring, and what is ticked.

    Each takes the item on the shelf that the room's other parts of its kind take.
    """
    wanted: list[tuple[str, str, str, str]] = []
    known: dict[str, ComponentState] = things(visit.session, visit.room_id, COMPONENT)
    taken = set(known)
    names = {one.name for one in known.values() if (one.tank, one.station) == (tank, station)}
    items = {one.part: one.item for one in known.values() if one.item}
    base = (tank or station)[:40]

    def key(part: str) -> str:
        number = 1
        while f"{base}-{part}-{number}" in taken or _name(part, f"-{number}") in names:
            number += 1
        taken.add(f"{base}-{part}-{number}")
        return f"{base}-{part}-{number}"

    for _ in range(_impellers(typed)):
        keys = {part: key(part) for part in OF_IMPELLERS}
        for part in OF_IMPELLERS:
            mate = keys.get(PARTS[part].mate, "")
            wanted.append((part, keys[part], _name(part, keys[part]), mate))
    for part in PARTS:
        if typed.get(f"with_{part}"):
            made = key(part)
            wanted.append((part, made, _name(part, made), ""))
    if not wanted:
        raise FieldErrors([FieldError("impellers", "Choose which parts sit here.")])
    return [
        _component(visit, tank, station, one, typed | {"item": items.get(one[0], "")})
        for one in wanted
    ]


def _component(
    visit: Visit, tank: str, station: str, one: tuple[str, str, str, str], typed: dict[str, str]
) -> Component:
    part, key, name, mate = one
    sent = {
        "component": key, "part": part, "name": name, "mate": mate, "tank": tank,
        "station": station, "item": typed["item"], "by": typed.get("by", visit.person),
    }  # fmt: skip
    kept: dict[str, Any] = {}
    if day := typed.get("fitted_on", "").strip():
        try:
            kept["fitted_at"] = datetime.fromisoformat(f"{day}T00:00").replace(tzinfo=visit.zone)
        except ValueError:
            message = "Enter the day, for example 2026-03-02."
            raise FieldErrors([FieldError("fitted_on", message)]) from None
    try:
        entry = read_entry(Component.kind, sent, visit.room, visit.person, visit.now, kept)
    except FieldErrors as error:
        renamed = {"fitted_at": "fitted_on"}
        raise FieldErrors(
            [FieldError(renamed.get(e.field, e.field), e.message) for e in error.errors]
        ) from None
    assert isinstance(entry, Component)
    return entry


def _impellers(typed: dict[str, str]) -> int:
    text = typed.get("impellers", "").strip() or "0"
    if not text.isdecimal() or int(text) > MOST_IMPELLERS:
        message = f"Enter a whole number from 0 to {MOST_IMPELLERS}."
        raise FieldErrors([FieldError("impellers", message)])
    return int(text)


def _name(part: str, key: str) -> str:
    number = key.rpartition("-")[2]
    is_many = part in OF_IMPELLERS or number != "1"
    return f"{PART_NAMES[part]} {number}" if is_many else PART_NAMES[part]


def _setup(visit: Visit, tank: str, station: str, form: FormState, status: int = 200) -> Response:
    where = f"tanks/{tank}" if tank else f"stations/{station}"
    context = {
        "where": where,
        "place_name": places(visit).get(where, (where, tank or station))[1],
        "is_tank": bool(tank),
        "offered": [(part, PART_NAMES[part]) for part in (OF_TANKS if tank else OF_STATIONS)],
        "positions": reading.positions_of(visit.session, visit.room_id, tank=tank, station=station),
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(SETUP, context, status)


def _find(visit: Visit, component: str) -> ComponentState:
    state: ComponentState | None = thing(visit.session, visit.room_id, COMPONENT, component)
    if state is None or not state.part:
        raise NotFound(f"There is no part position “{component[:64]}” in this room.")
    return state


def _fit_at(visit: Visit, state: ComponentState) -> str:
    """Where a new part is entered: at the look that asks for one; empty where none does."""
    seen = state.standing
    if seen is None or seen.verdict not in NEEDS_PHOTO:
        return ""
    return visit.address("inspections", seen.inspection, "parts", state.key)


def _part(visit: Visit, component: str, form: FormState, status: int = 200) -> Response:
    state = _find(visit, component)
    asked = visit.request.query_params.get("photos", "0")
    skip = min(int(asked), 100_000) if asked.isdecimal() else 0
    found = photo_history(visit.session, visit.room_id, component, PHOTOS_A_PAGE + 1, skip)
    log = book(visit.session, visit.room_id, COMPONENT, component, limit=LOG_LINES)
    shelf = things(visit.session, visit.room_id, ITEM).values()
    use = None
    if state.tank and state.fitted_at:
        use = use_since(visit.session, visit.room_id, state.tank, state.fitted_at)
    context: dict[str, Any] = {
        "part": state,
        "fit_at": _fit_at(visit, state),
        "mate": state.mate and thing(visit.session, visit.room_id, COMPONENT, state.mate),
        "use": use,
        "photos": found[:PHOTOS_A_PAGE],
        "skip": skip,
        "older": skip + PHOTOS_A_PAGE if len(found) > PHOTOS_A_PAGE else None,
        "newer": max(0, skip - PHOTOS_A_PAGE) if skip else None,
        "replaced": REPLACED,
        "items": [("", "None"), *((i.key, i.name) for i in shelf if i.category == "part")],
        "log": lines_of(visit.session, visit.room, [LoggedEntry(row, None) for row in log]),
        "form": form if form.values else FormState({"name": state.name, "item": state.item}),
        "submission": uuid.uuid4().hex,
        **shared(visit),
    }
    return visit.page(PART, context, status)
