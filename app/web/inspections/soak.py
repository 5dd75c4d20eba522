"""Soak tests: an elastomer in the room's own bath, weighed before and after."""

import uuid

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.inspections.books import SoakState
from app.domain.plausible.words import LONG_ENOUGH
from app.domain.roomlog.kinds.inspections import SOAK, SoakEnded, SoakStarted
from app.services.acts.inspections import new_key
from app.store import queries
from app.store.things import thing, things
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry, unit_label
from app.web.inspections.inspection import shared

router = APIRouter(prefix="/rooms/{room}/soak")
TEMPLATE = "inspections/soak.html"


@router.get("")
def soaks(visit: VisitDep) -> Response:
    """What soaks, what came out, and how it is done."""
    return _page(visit, FormState({"by": visit.person}), "")


@router.post("")
def start(visit: VisitDep, typed: FormDep) -> Response:
    """A sample goes in."""
    try:
        sent = {**typed, "soak": typed.get("submission", "")[:12] or new_key()}
        entry = read_entry(SoakStarted.kind, sent, visit.room, visit.person, visit.now)
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _page(visit, form_of(back, typed), "", 422)
    return RedirectResponse(visit.address("soak"), 303)


@router.post("/{soak}")
def end(visit: VisitDep, soak: str, typed: FormDep) -> Response:
    """It is taken out and weighed again."""
    state: SoakState | None = thing(visit.session, visit.room_id, SOAK, soak)
    if state is None or state.started_at is None:
        raise NotFound("There is no such soak test.")
    try:
        if state.ended_at is not None:
            raise FieldErrors([FieldError("mass_after_g", "It has already been weighed.")])
        sent = {**typed, "soak": soak}
        entry = read_entry(SoakEnded.kind, sent, visit.room, visit.person, visit.now)
        if entry.at <= state.started_at:
            raise FieldErrors([FieldError("mass_after_g", "It has only just gone in.")])
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _page(visit, form_of(back, typed), soak, 422)
    return RedirectResponse(visit.address("soak"), 303)


def _page(visit: Visit, form: FormState, ending: str, status: int = 200) -> Response:
    known = [s for s in things(visit.session, visit.room_id, SOAK).values() if s.started_at]
    board = queries.board(visit.session, visit.room_id, visit.now)
    context = {
        "soaking": [state for state in known if state.ended_at is None],
        "done": [state for state in reversed(known) if state.ended_at is not None],
        "tanks": [(tank.key, f"{tank.place} {tank.name}") for tank in board.tanks],
        "people": queries.people(visit.session, visit.room_id),
        "unit": unit_label(SoakStarted.specs()["mass_before_g"], visit.room),
        "long_enough": LONG_ENOUGH,
        "form": FormState({"by": visit.person}) if ending else form,
        "end_form": form if ending else FormState(),
        "ending": ending,
        "submission": uuid.uuid4().hex,
        **shared(visit),
    }
    return visit.page(TEMPLATE, context, status)
