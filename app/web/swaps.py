"""The swap of a bath: started, completed with its volumes, or given up."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.roomlog.kinds import Swap, SwapAbandoned, SwapStarted
from app.domain.solvents import SOLVENTS
from app.services import roomlog
from app.store import queries
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label
from app.web.logbook import store_form

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/swap")
TEMPLATE = "swaps/swap.html"
DRAINABLE = 0.98  # of the bath; the rest stays as the heel (common practice, no source)


@router.get("")
def swap_form(visit: VisitDep, tank: str) -> Response:
    """Start a swap, or complete the one under way."""
    view = visit.tank(tank)
    volume = Swap.specs()["filled_l"]
    drained_l = round(DRAINABLE * view.volume_l, 1)
    filled_l = round(view.capacity_l - (view.volume_l - drained_l), 1)
    values = {
        "by": visit.person,
        "drained_l": text_of(volume, drained_l, visit.room),
        "filled_l": text_of(volume, filled_l, visit.room),
        "solvent": view.solvent,
        "fresh_purity_percent": f"{view.fresh_purity_percent:g}",
    }
    return visit.page(TEMPLATE, _context(visit, tank, FormState(values)))


@router.post("/start")
def start(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """A swap is under way: the tank is out of use until it is completed or given up."""
    return _note(visit, tank, SwapStarted.kind, typed)


@router.post("/abandon")
def abandon(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """The swap is given up; the bath goes on as it was."""
    return _note(visit, tank, SwapAbandoned.kind, typed)


@router.post("/complete")
def complete(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """The bath is changed: its estimate starts again from the heel."""
    return store_form(
        visit, tank, Swap.kind, typed,
        lambda state: visit.page(TEMPLATE, _context(visit, tank, state), 422),
    )  # fmt: skip


def _note(visit: Visit, tank: str, kind: str, typed: dict[str, str]) -> Response:
    entry = read_entry(kind, {**typed, "tank": tank}, visit.room, visit.person, visit.now)
    roomlog.record(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    return RedirectResponse(visit.address("tanks", tank, "swap"), 303)


def _context(visit: Visit, tank: str, state: FormState) -> dict[str, Any]:
    specs = Swap.specs()
    return {
        "tank": visit.tank(tank),
        "form": state,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "specs": specs,
        "solvents": SOLVENTS,
        "people": queries.people(visit.session, visit.room_id),
        "submission": state.value("submission") or uuid.uuid4().hex,
    }
