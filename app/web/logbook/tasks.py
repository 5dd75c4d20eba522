"""Logging at the tank: washes, readings, top-ups, removals, solids and rejects, with undo.

The form of each kind is made from the kind's own fields, so that a new instrument or field appears
here by itself. Every form works as a plain page; scripts only make it quicker.
"""

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.checks import misfits
from app.domain.roomlog.fields import FieldSpec
from app.domain.roomlog.kinds import (
    KINDS,
    REJECT_FINDINGS,
    REJECT_OUTCOMES,
    Entry,
    PlannedWash,
    Reading,
    Swap,
    TopUp,
    Wash,
)
from app.domain.roomlog.lines import own_fields
from app.services import door
from app.services.baths import topping_up
from app.services.baths.plausibility import entry_doubts, preview_reading
from app.services.definitions import context
from app.services.door import Recorded
from app.services.entries import entry_of
from app.services.incidents.holds import held_problems, held_reason
from app.services.swaps.drained import drained_problems
from app.services.undoing import undo as undo_entries
from app.store import queries
from app.store.tables import RoomRow
from app.web.asking import confirmed, to_ask
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState, read_entry, shown_values, unit_label

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}")

TASKS = {
    "wash": "wash",
    "reading": "reading",
    "top-up": "top_up",
    "removal": "removal",
    "solids": "solids_removed",
    "reject": "reject",
    "plan": "planned_wash",
}
UNDONE_HERE = (*TASKS.values(), Swap.kind)
RECENT_LOADS = 4
UNTIMED_PLAN = "Give the day and time for which the wash is planned."
PAST_PLAN = "This time has passed. Plan a time to come, or log a wash that was done as a wash."
SIZES = ("parts", "area_cm2", "mass_g")


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
def log_form(visit: VisitDep, tank: str, task: str) -> Response:
    """The form of a task."""
    asked = dict(visit.request.query_params)  # what was typed, where it is only to be converted
    state = FormState({"by": visit.person, **asked, "tank": tank})
    return visit.page(f"logbook/{task}.html", _context(visit, tank, task, state))


@router.post("/log/{task}")
def log(visit: VisitDep, tank: str, task: str, typed: FormDep) -> Response:
    """Store what the form says, or show it again with what does not fit."""
    kind = _kind(task)
    return store_form(
        visit, tank, kind, typed,
        lambda state: visit.page(f"logbook/{task}.html", _context(visit, tank, task, state), 422),
    )  # fmt: skip


def store_form(
    visit: Visit,
    tank: str,
    kind: str,
    typed: dict[str, str],
    show_again: Callable[[FormState], Response],
) -> Response:
    """Store the entry a tank's form describes; an odd one only once it was asked about."""
    values = {**typed, "tank": tank}
    try:
        entry = read_entry(kind, values, visit.room, visit.person, visit.now)
        if not visit.is_repeated(typed) and (errors := _misfits(visit, entry, typed)):
            raise FieldErrors(errors)
        if form := to_ask(visit, typed, lambda: _doubts(visit, entry, typed), values, [entry]):
            return show_again(form)
        done = _record(visit, entry, typed)
    except FieldErrors as error:
        return show_again(FormState(values, error.by_field()))
    except FieldError as error:
        return show_again(FormState(values, {error.field: error.message}))
    answer = RedirectResponse(visit.address("tanks", tank) + f"?saved={done.ids[0]}", 303)
    if entry.by:
        remember_person(answer, entry.by)
    return answer


@router.get("/preview")
def preview(visit: VisitDep, tank: str) -> Response:
    """What a reading means, before it is saved."""
    values = {**visit.request.query_params, "tank": tank}
    context = _context(visit, tank, "reading", FormState(values))
    return visit.fragment("logbook/reading.html", "preview", context)


@router.post("/undo/{entry_id}")
def undo(visit: VisitDep, tank: str, entry_id: str) -> Response:
    """Take back what was just entered."""

    def is_of_page(entry: Entry) -> bool:
        return entry.kind in UNDONE_HERE and getattr(entry, "tank", None) == tank

    undo_entries(visit.store, visit.room.key, [entry_id], visit.person, visit.now, is_of_page)
    return RedirectResponse(visit.address("tanks", tank) + f"?undone={entry_id}", 303)


def recent_loads(visit: Visit, tank: str) -> list[LoadTile]:
    """The loads washed here lately, each once, the latest first."""
    names = visit.resin_names()
    tiles: dict[str, LoadTile] = {}
    for row in queries.last_entries(visit.session, visit.room_id, tank, Wash.kind):
        wash = entry_of(row)
        assert isinstance(wash, Wash)
        tile = _tile(wash, names, visit.room)
        tiles.setdefault(tile.text, tile)
    return list(tiles.values())[:RECENT_LOADS]


def _misfits(visit: Visit, entry: Entry, typed: dict[str, str]) -> list[FieldError]:
    """What does not fit the room; a plan needs a time that is still to come."""
    found = misfits(entry, context(visit.session, visit.room_id), visit.now)
    found += held_problems(visit.session, visit.room_id, [entry])
    found += drained_problems(visit.session, visit.room_id, entry)
    if isinstance(entry, TopUp) and typed.get("bottle"):
        use = topping_up.use_of(entry, typed["bottle"])
        found += topping_up.stops(visit.session, visit.room_id, use, visit.now)
    if isinstance(entry, PlannedWash) and entry.at <= visit.now:
        message = PAST_PLAN if typed.get("at", "").strip() else UNTIMED_PLAN
        return [FieldError("at", message), *(error for error in found if error.field != "at")]
    return found


def _record(visit: Visit, entry: Entry, typed: dict[str, str]) -> Recorded:
    submission = typed.get("submission")
    if isinstance(entry, TopUp) and typed.get("bottle"):
        use = topping_up.use_of(entry, typed["bottle"])
        return topping_up.record_top_up(
            visit.store, visit.room.key, entry, use, visit.now, submission,
            confirmed=confirmed(typed),
        )  # fmt: skip
    return door.enter(
        visit.store, visit.room.key, [entry], visit.now, submission, confirmed=confirmed(typed)
    )


def _doubts(visit: Visit, entry: Entry, typed: dict[str, str]) -> tuple[str, ...]:
    found = entry_doubts(visit.session, visit.room, entry, visit.now)
    if isinstance(entry, TopUp) and typed.get("bottle"):
        use = topping_up.use_of(entry, typed["bottle"])
        tank = visit.tank(entry.tank)
        found = (*found, *topping_up.doubts(visit.session, visit.room_id, use, tank))
    return found


def _kind(task: str) -> str:
    if task not in TASKS:
        raise NotFound("There is nothing at this address.")
    return TASKS[task]


def _context(visit: Visit, tank: str, task: str, state: FormState) -> dict[str, Any]:
    kind = _kind(task)
    context = {
        "tank": visit.tank(tank),
        "task": task,
        "title": KINDS[kind].summary,
        "form": state,
        "submission": state.value("submission") or uuid.uuid4().hex,
        "fields": _fields(kind, visit.room),
        "people": queries.people(visit.session, visit.room_id),
        "resins": queries.resins(visit.session, visit.room_id),
    }
    if kind == Reading.kind:
        context |= _reading_context(visit, tank, state)
    if kind in (Wash.kind, PlannedWash.kind):
        context["loads"] = recent_loads(visit, tank)
    if kind == Wash.kind:
        context["held"] = held_reason(visit.session, visit.room_id, tank)
    if kind == TopUp.kind:
        found = topping_up.bottles(visit.session, visit.room_id, visit.tank(tank), visit.today)
        context["bottles"] = [
            ("", "Not from the shelf"), *((bottle.value, bottle.text) for bottle in found),
        ]  # fmt: skip
    if task == "reject":
        context["findings"] = {key: key.replace("_", " ") for key in REJECT_FINDINGS}
        context["outcomes"] = [
            ("", "Not decided"),
            *((key, key.replace("_", " ").capitalize()) for key in REJECT_OUTCOMES),
        ]
    return context


def _reading_context(visit: Visit, tank: str, state: FormState) -> dict[str, Any]:
    method = state.value("method")
    if method not in INSTRUMENTS:
        method = _usual_method(visit, tank)
    instrument = INSTRUMENTS.get(method)
    specs = instrument.fields if instrument else {}
    required = instrument.required if instrument else ()
    return {
        "instruments": INSTRUMENTS,
        "method": method,
        "method_fields": [
            FormField(name, spec, unit_label(spec, visit.room), name in required)
            for name, spec in specs.items()
        ],
        **_preview(visit, state, specs),
    }


def _preview(visit: Visit, state: FormState, specs: Mapping[str, FieldSpec]) -> dict[str, Any]:
    """What the typed values mean, or why they mean nothing yet; silent while nothing is typed."""
    if not any(state.value(name) for name in specs):
        return {"preview": None, "preview_message": ""}
    try:
        entry = read_entry(Reading.kind, state.values, visit.room, "", visit.now)
        assert isinstance(entry, Reading)
        found = preview_reading(visit.session, visit.room, entry, visit.now)
    except FieldErrors as error:
        return {"preview": None, "preview_message": error.errors[0].message}
    except FieldError as error:
        return {"preview": None, "preview_message": error.message}
    return {"preview": found, "preview_message": ""}


def _usual_method(visit: Visit, tank: str) -> str:
    for row in queries.last_entries(visit.session, visit.room_id, tank, Reading.kind, 1):
        last = entry_of(row)
        assert isinstance(last, Reading)
        return last.method
    return next(iter(INSTRUMENTS))


def _fields(kind: str, room: RoomRow) -> dict[str, FormField]:
    entry = KINDS[kind]
    return {
        name: FormField(name, spec, unit_label(spec, room), name in entry.required())
        for name, spec in entry.specs().items()
    }


def _tile(wash: Wash, names: dict[str, str], room: RoomRow) -> LoadTile:
    values = shown_values(wash, own_fields(wash), room)
    sizes = [
        f"{values[name]} {unit_label(Wash.specs()[name], room)}" for name in SIZES if name in values
    ]
    kept = {name: values[name] for name in ("resin", *SIZES) if name in values}
    text = f"{names.get(wash.resin, wash.resin)}, {', '.join(sizes)}"
    return LoadTile(text, wash.resin, kept)
