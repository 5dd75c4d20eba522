"""The swap of a bath: started, completed with its volumes, or given up."""

import uuid
from dataclasses import replace
from datetime import datetime
from typing import Any

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Swap, SwapAbandoned, SwapStarted
from app.domain.solvents import SOLVENTS
from app.services import roomlog
from app.services.plausibility import entry_doubts
from app.store import queries
from app.store.tables import RoomRow
from app.web.deps import NowDep, PersonDep, RoomDep, SessionDep, StoreDep
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label
from app.web.logbook import saved, tank_view
from app.web.render import page

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/swap")
TEMPLATE = "swaps/swap.html"


@router.get("")
def swap_form(
    request: Request, session: SessionDep, room: RoomDep, tank: str, now: NowDep, person: PersonDep
) -> Response:
    """Start a swap, or complete the one under way."""
    view = tank_view(session, room, tank, now)
    volume = Swap.specs()["filled_l"]
    values = {
        "by": person,
        "drained_l": text_of(volume, round(0.98 * view.volume_l, 1), room),
        "filled_l": text_of(volume, round(view.capacity_l - 0.02 * view.volume_l, 1), room),
        "solvent": view.solvent,
        "fresh_purity_percent": f"{view.fresh_purity_percent:g}",
    }
    return page(request, TEMPLATE, _context(session, room, tank, FormState(values), now))


@router.post("/start")
def start(
    store: StoreDep, room: RoomDep, tank: str, now: NowDep, person: PersonDep, typed: FormDep
) -> Response:
    """A swap is under way: the tank is out of use until it is completed or given up."""
    return _note(typed, store, room, tank, SwapStarted.kind, now, person)


@router.post("/abandon")
def abandon(
    store: StoreDep, room: RoomDep, tank: str, now: NowDep, person: PersonDep, typed: FormDep
) -> Response:
    """The swap is given up; the bath goes on as it was."""
    return _note(typed, store, room, tank, SwapAbandoned.kind, now, person)


@router.post("/complete")
def complete(
    request: Request, session: SessionDep, store: StoreDep, room: RoomDep, tank: str, now: NowDep,
    person: PersonDep, typed: FormDep,
) -> Response:  # fmt: skip
    """The bath is changed: its estimate starts again from the heel."""
    values = {**typed, "tank": tank}
    state = FormState(values)
    try:
        entry = read_entry(Swap.kind, values, room, person, now)
        odd = () if values.get("confirmed") else entry_doubts(session, room, entry, now)
        if not odd:
            done = roomlog.record(store, room.key, [entry], now, values.get("submission"))
            return saved(room, tank, done, entry)
        state = replace(state, doubts=odd)
    except FieldErrors as error:
        state = replace(state, errors=error.by_field())
    answer = page(request, TEMPLATE, _context(session, room, tank, state, now))
    answer.status_code = 422
    return answer


def _note(
    typed: FormDep, store: StoreDep, room: RoomRow, tank: str, kind: str, now: datetime, person: str
) -> Response:
    values = {**typed, "tank": tank}
    entry = read_entry(kind, values, room, person, now)
    roomlog.record(store, room.key, [entry], now, values.get("submission"))
    return RedirectResponse(f"/rooms/{room.key}/tanks/{tank}/swap", 303)


def _context(
    session: Session, room: RoomRow, tank: str, state: FormState, now: datetime
) -> dict[str, Any]:
    assert room.id is not None
    specs = Swap.specs()
    return {
        "room": room,
        "now": now,
        "tank": tank_view(session, room, tank, now),
        "form": state,
        "units": {name: unit_label(spec, room) for name, spec in specs.items()},
        "specs": specs,
        "solvents": SOLVENTS,
        "people": queries.people(session, room.id),
        "submission": state.value("submission") or uuid.uuid4().hex,
    }
