"""Swaps on paper, and the record of those that were done."""

import uuid
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.checklists.closing import as_poured_now
from app.domain.checklists.litres import Balance
from app.domain.checklists.roles import PAIR_ONLY
from app.domain.checklists.run import SwapState, Tick, steps_for
from app.domain.checklists.template import Step
from app.domain.errors import NotFound
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.inspections import LOOK_WORDS
from app.services.acts.swaps.swapping import past_swaps
from app.services.swaps.checklists import checklist
from app.services.swaps.looks import looks_around, questions_of
from app.services.swaps.under_way import open_swap, swap_state
from app.store.instants import from_us
from app.store.tables import EntryRow
from app.store.things import book
from app.web.deps import Visit, VisitDep
from app.web.forms import unit_label
from app.web.swaps.answers import answered
from app.web.swaps.balancing import LEAST_L, accounts_of
from app.web.swaps.contexts import names_of, swap_address, tank_of
from app.web.swaps.forms import fields_of
from app.web.swaps.labelled import photos_of_looks, photos_of_step
from app.web.swaps.photos import photo_of
from app.web.swaps.views import rail

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/swap")
HISTORY = 600
ENDS = {"closed": "Completed", "entered": "Entered as completed", "abandoned": "Given up"}


READING, PHOTO = "Density or index, temperature", "a photo, in the record"


@dataclass(frozen=True)
class PaperLine:
    """A line of the paper form: with what is recorded already, else with a blank to fill in."""

    label: str
    text: str = ""
    unit: str = ""


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
        "pair_only": PAIR_ONLY,
        "rail": rail(state),
        "lines": {
            step.key: [*_looks(visit, state, step), *_lines(visit, step, state.tick(step.key))]
            for step in state.steps
        },
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
    balance, names = as_poured_now(state), names_of(visit, state)
    context |= {
        "state": state,
        "accounts": accounts_of(state, balance, names, visit.room) if balance else [],
        "said_l": _said_l(state, balance),
        "rail": rail(state),
        "answers": {step.key: answered(visit, step, state.tick(step.key)) for step in state.steps},
        "history": [_line(row) for row in reversed(rows)],
        "submission": uuid.uuid4().hex,
        "photos": photos_of_looks(visit, state, names),
        "around": looks_around(visit.session, visit.room_id, state),
        "tank_names": names,
        "look_words": LOOK_WORDS,
    }
    return visit.page("swaps/record.html", context)


@router.get("/photo")
def step_photo(
    visit: VisitDep, tank: str, swap: str = "", step: str = "", ask: str = ""
) -> Response:
    """A photo large, with the step that asked for it; without a swap the way to all of them.

    Raises:
        NotFound: that step has no such photo.
    """
    visit.tank(tank)
    if not swap:
        return RedirectResponse(f"{swap_address(visit, tank)}/record", 303)
    state = swap_state(visit.session, visit.room_id, swap)
    asked = state.step(step)
    tick = state.tick(step)
    photo = photo_of(tick.answers.get(ask)) if tick is not None else ""
    found = photos_of_step(visit, state, asked) if asked is not None else []
    taken = next((one for one in found if one.photo == photo), None)
    if taken is None:
        raise NotFound("This step has no such photo.")
    context = {"tank": tank_of(visit, tank), "base": swap_address(visit, tank),
               "state": state, "taken": taken}  # fmt: skip
    return visit.page("swaps/photo.html", context)


def _said_l(state: SwapState, balance: Balance | None) -> float | None:
    """What was in the drum as the swap was completed, litres; None where that still holds."""
    then = state.balance
    if then is None or balance is None:
        return None
    then_l, now_l = (one.drained_l + one.rinsed_l for one in (then, balance))
    return None if abs(then_l - now_l) < LEAST_L else then_l


def _looks(visit: Visit, state: SwapState, step: Step) -> list[PaperLine]:
    """The questions of the look that a step waits for, to be answered on paper first."""
    if state.tick(step.key) is not None:
        return []
    found = questions_of(visit.session, visit.room_id, state, step)
    return [PaperLine(f"{name}, {text[:1].lower()}{text[1:].rstrip('?')}") for name, text in found]


def _lines(visit: Visit, step: Step, tick: Tick | None) -> list[PaperLine]:
    """What is written down at a step: what was said where it is done, else room for it."""
    if tick is not None:
        return [PaperLine(one.label, one.text or PHOTO) for one in answered(visit, step, tick)]
    blank = [
        PaperLine(one.label, unit=unit_label(one.spec, visit.room))
        for one in fields_of(step, {}, visit.room)
    ]
    return [*blank, PaperLine(READING)] if step.role == "reading" else blank


def _line(row: EntryRow) -> dict[str, Any]:
    return {
        "uid": row.uid, "what": KINDS[row.kind].summary, "at": from_us(row.at_us), "by": row.by,
        "note": row.note, "is_void": row.voided_by is not None,
    }  # fmt: skip
