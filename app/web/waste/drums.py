"""A waste drum: its ledger, where it stands, and what is done with it."""

import uuid
from dataclasses import replace
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.builds import NO_BOND, PLASTIC
from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.roomlog.kinds.waste import (
    DRUM,
    IN_ORDER,
    DrumChanged,
    DrumChecked,
    DrumClosed,
    DrumMoved,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
)
from app.domain.waste.drums import DrumState
from app.domain.waste.fitting import name_of
from app.domain.waste.limits import computed_percent
from app.domain.waste.streams import ACRYLATE_CARE, ACRYLATE_SOURCE, STREAMS
from app.services.waste import find_drum, overview, room_for, rulebook
from app.store import queries
from app.store.log import LoggedEntry
from app.store.site import crew, site
from app.store.solvents import streams_here
from app.store.things import book, thing
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label
from app.web.telling import lines_of
from app.web.waste import words

router = APIRouter(prefix="/rooms/{room}/waste/drums/{drum}")
TEMPLATE = "waste/drum.html"
ACTS = {
    "move": DrumMoved.kind, "close": DrumClosed.kind, "open": DrumOpened.kind,
    "check": DrumChecked.kind, "quarantine": DrumQuarantined.kind, "release": DrumReleased.kind,
}  # fmt: skip
SETTINGS = ("name", "capacity_l", "fill_limit_percent", "stream", "tare_kg", "inner_height_cm",
            "material")  # fmt: skip


@router.get("")
def drum_page(visit: VisitDep, drum: str) -> Response:
    """Everything about one drum."""
    return visit.page(TEMPLATE, _context(visit, drum, FormState({"by": visit.person})))


@router.post("/do/{act}")
def do(visit: VisitDep, drum: str, act: str, typed: FormDep) -> Response:
    """Move, close, open, check, quarantine or release it."""
    if act not in ACTS:
        raise NotFound("There is nothing at this address.")
    find_drum(visit.session, visit.room_id, drum)
    values = {**typed, "drum": drum}
    try:
        entry = read_entry(ACTS[act], values, visit.room, visit.person, visit.now)
        enter(visit, typed, [entry], values=values)
    except SENT_BACK as back:
        return visit.page(TEMPLATE, _context(visit, drum, form_of(back, values), act), 422)
    return go_on(visit.address("waste", "drums", drum) + "?saved=1", entry.by)


@router.get("/settings")
def settings(visit: VisitDep, drum: str) -> Response:
    """The form of a drum's name, size and stream."""
    state = find_drum(visit.session, visit.room_id, drum)
    return _settings_page(visit, state, FormState(_shown(visit, state)))


@router.post("/settings")
def change(visit: VisitDep, drum: str, typed: FormDep) -> Response:
    """Store what was changed."""
    state = find_drum(visit.session, visit.room_id, drum)
    shown = _shown(visit, state)
    changed = {
        name: text
        for name in SETTINGS
        if (text := typed.get(name, "").strip()) and text != shown.get(name, "")
    }
    try:
        if changed:
            sent = {**changed, "drum": drum, "by": visit.person, "note": typed.get("note", "")}
            entry = read_entry(DrumChanged.kind, sent, visit.room, visit.person, visit.now)
            enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _settings_page(visit, state, form_of(back, typed), 422)
    return RedirectResponse(visit.address("waste", "drums", drum), 303)


@router.get("/transfer")
def transfer_form(visit: VisitDep, drum: str) -> Response:
    """Move the contents of a leaking drum into another."""
    state = find_drum(visit.session, visit.room_id, drum)
    fits_l = max((other.free_l for other in _others(visit, state)), default=state.volume_l)
    moved_l = round(min(state.volume_l, fits_l), 3)
    moved = text_of(DrumTransfer.specs()["volume_l"], moved_l, visit.room)
    return _transfer_page(visit, state, FormState({"volume_l": moved, "by": visit.person}))


@router.post("/transfer")
def transfer(visit: VisitDep, drum: str, typed: FormDep) -> Response:
    """Store the move; the mass goes with the volume."""
    state = find_drum(visit.session, visit.room_id, drum)
    values = {**typed, "drum": typed.get("to_drum", ""), "from_drum": drum, "waste_kg": "1"}
    try:
        if not values["drum"]:
            raise FieldErrors([FieldError("to_drum", "Choose the drum that takes it.")])
        entry = read_entry(DrumTransfer.kind, values, visit.room, visit.person, visit.now)
        assert isinstance(entry, DrumTransfer)
        entry = _with_mass(entry, state)
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _transfer_page(visit, state, form_of(back, typed, _at_the_other_drum), 422)
    return RedirectResponse(visit.address("waste", "drums", entry.drum) + "?saved=1", 303)


def _at_the_other_drum(messages: dict[str, str]) -> dict[str, str]:
    """The form asks for no drum but the one the contents go to."""
    found = dict(messages)
    if DRUM in found:
        found.setdefault("to_drum", found.pop(DRUM))
    return found


def _with_mass(entry: DrumTransfer, source: DrumState) -> DrumTransfer:
    """The transfer with the share of the source's mass that its volume is."""
    if source.volume_l <= 0:
        raise FieldErrors([FieldError("volume_l", f"{name_of(source)} is empty.")])
    share = min(1.0, entry.volume_l / source.volume_l)
    return replace(entry, waste_kg=max(0.001, round(share * source.mass_kg, 6)))


def _context(visit: Visit, key: str, form: FormState, act: str = "") -> dict[str, Any]:
    state = find_drum(visit.session, visit.room_id, key)
    all_ = overview(visit.session, visit.room, visit.now)
    view = words.drum_view(state, all_, visit.zone, visit.now)
    rows = book(visit.session, visit.room_id, DRUM, key)
    entry_of_pickup = all_.pickups.get(state.pickup)
    return {
        "view": view,
        "drum": state,
        "stream": STREAMS[state.stream],
        "care": ACRYLATE_CARE,
        "care_source": ACRYLATE_SOURCE,
        "rules": all_.rules,
        "form": form,
        "act": act,
        "areas": [(area, text) for area, text in words.AREAS.items() if area != state.area],
        "checks": {name: DrumChecked.specs()[name].label for name in IN_ORDER},
        "warm": DrumChecked.specs()["is_warm"].label,
        "leads": crew(visit.session, visit.room_id).leads,
        "pickup": entry_of_pickup,
        "log": lines_of(visit.session, visit.room, [LoggedEntry(row, None) for row in rows]),
        "tank_names": {
            tank.key: tank.name
            for tank in queries.board(
                visit.session, visit.room_id, visit.now, with_retired=True
            ).tanks
        },
        "local_day": words.local_day,
        "headspace": _headspace(visit, state),
        "people": queries.people(visit.session, visit.room_id),
        "was_saved": "saved" in visit.request.query_params,
        "submission": uuid.uuid4().hex,
    }


def _headspace(visit: Visit, state: DrumState) -> dict[str, Any] | None:
    """How full the drum may be for the rule about expansion, filled at the room's temperature."""
    rules = rulebook(visit.session, visit.room_id)
    room_c = site(visit.session, visit.room_id).room_temperature_c
    most = computed_percent(state, rules, room_c)
    if most is None:
        return None
    is_low = _own(visit, state).fill_limit_percent > most
    return {"most": most, "room_c": room_c, "rule": rules.rules["full_at_c"], "is_low": is_low}


def _own(visit: Visit, state: DrumState) -> DrumState:
    """The drum with its own fill limit, whatever binds."""
    return thing(visit.session, visit.room_id, DRUM, state.key) or state


def _shown(visit: Visit, state: DrumState) -> dict[str, str]:
    specs = DrumChanged.specs()
    values = {name: getattr(_own(visit, state), name) for name in SETTINGS}
    return {
        name: text_of(specs[name], value, visit.room)
        for name, value in values.items()
        if value is not None
    }


def _settings_page(visit: Visit, state: DrumState, form: FormState, status: int = 200) -> Response:
    specs = DrumChanged.specs()
    context = {
        "drum": state,
        "form": form,
        "specs": specs,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "streams": streams_here(visit.session, visit.room_id),
        "materials": words.MATERIALS,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("waste/settings.html", context, status)


def _others(visit: Visit, state: DrumState) -> list[DrumState]:
    """The drums that may take what is in this one.

    First those that take all of it, the smallest room first; then the others, the largest first.
    """
    found = room_for(visit.session, visit.room_id, state.stream)
    others = [other for other in found if other.key != state.key]
    takers = [other for other in others if other.free_l >= state.volume_l]
    return takers + others[: len(others) - len(takers)][::-1]


def _transfer_page(visit: Visit, state: DrumState, form: FormState, status: int = 200) -> Response:
    spec = DrumTransfer.specs()["volume_l"]
    others = _others(visit, state)
    context = {
        "drum": state,
        "form": form,
        "spec": spec,
        "unit": unit_label(spec, visit.room),
        "others": others,
        "is_too_much": bool(others) and others[0].free_l < state.volume_l,
        "asks_lead": any(drum.material == PLASTIC for drum in (state, *others)),
        "leads": crew(visit.session, visit.room_id).leads,
        "no_bond": NO_BOND,
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("waste/transfer.html", context, status)
