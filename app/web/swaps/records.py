"""Swaps on paper, and the record of those that were done."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.checklists.run import SwapState, steps_for
from app.domain.checklists.template import Step
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.checklists import SWAP
from app.services.swaps.checklists import checklist
from app.services.swaps.swapping import open_swap, past_swaps, swap_state
from app.store.instants import from_us
from app.store.tables import EntryRow
from app.store.things import book
from app.web.deps import Visit, VisitDep
from app.web.forms import unit_label
from app.web.swaps.contexts import swap_address, tank_of
from app.web.swaps.forms import StepField, fields_of
from app.web.swaps.photos import photo_of
from app.web.swaps.views import rail

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/swap")
HISTORY = 600
ENDS = {"closed": "Completed", "entered": "Entered as completed", "abandoned": "Given up"}


@router.get("/paper")
def paper(visit: VisitDep, tank: str) -> Response:
    """The list with boxes to tick by hand: of the swap under way, else blank."""
    row = tank_of(visit, tank)
    state = open_swap(visit.session, visit.room_id, tank)
    if state is None:
        template = checklist(visit.session, visit.room_id)
        steps = steps_for(template.steps, row.pair is not None)
        state = SwapState(key="", tank=tank, version=template.version, steps=steps)
    context = {
        "tank": row,
        "base": swap_address(visit, tank),
        "state": state,
        "rail": rail(state),
        "lines": {step.key: _lines(visit, step) for step in state.steps},
    }
    return visit.page("swaps/paper.html", context)


@router.get("/record")
def record(visit: VisitDep, tank: str, swap: str = "") -> Response:
    """The swaps of a tank that had a list; or one of them, with all that was said of it."""
    context: dict[str, Any] = {"tank": tank_of(visit, tank), "base": swap_address(visit, tank),
                               "ends": ENDS}  # fmt: skip
    if not swap:
        past = past_swaps(visit.session, visit.room_id, tank)
        return visit.page("swaps/records.html", context | {"past": past})
    state = swap_state(visit.session, visit.room_id, swap)
    rows = book(visit.session, visit.room_id, SWAP, swap, HISTORY)
    context |= {
        "state": state,
        "rail": rail(state),
        "answers": {step.key: _answered(visit, state, step) for step in state.steps},
        "history": [_line(row) for row in reversed(rows)],
        "submission": uuid.uuid4().hex,
    }
    return visit.page("swaps/record.html", context)


def _lines(visit: Visit, step: Step) -> list[tuple[str, str]]:
    """What is written by hand at a step: label and unit."""
    found = [(one.label, unit_label(one.spec, visit.room)) for one in _fields(visit, step)]
    return [*found, ("Density or index, temperature", "")] if step.role == "reading" else found


def _fields(visit: Visit, step: Step) -> list[StepField]:
    return fields_of(step, {}, visit.room)


def _answered(visit: Visit, state: SwapState, step: Step) -> list[dict[str, Any]]:
    """What was answered at a step: label, value, kept unit, or the name of a photo."""
    tick = state.tick(step.key)
    if tick is None:
        return []
    known = {one.name: one for one in _fields(visit, step)}
    return [
        {
            "label": known[name].label if name in known else name.replace("_", " "),
            "value": value,
            "unit": known[name].spec.unit if name in known else "",
            "photo": photo_of(value),
        }
        for name, value in tick.answers.items()
    ]


def _line(row: EntryRow) -> dict[str, Any]:
    return {
        "uid": row.uid, "what": KINDS[row.kind].summary, "at": from_us(row.at_us), "by": row.by,
        "note": row.note, "is_void": row.voided_by is not None,
    }  # fmt: skip
