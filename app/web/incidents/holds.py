"""Holding a tank, and releasing it: whoever sees something holds, a lead releases."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.incidents import TankHeld, TankReleased
from app.services.incidents.holds import hold, hold_tank, release_tank
from app.services.incidents.register import incidents
from app.store.site import crew
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState, read_entry

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/hold")
TEMPLATE = "incidents/hold.html"


@router.get("")
def hold_page(visit: VisitDep, tank: str) -> Response:
    """Hold the tank, or see why it is held and release it."""
    return visit.page(TEMPLATE, _context(visit, tank, FormState({"by": visit.person})))


@router.post("")
def hold_it(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Nothing is washed in it from now on."""
    sent = {**typed, "tank": tank, "cause": "lead"}
    return _store(visit, tank, TankHeld.kind, sent, typed)


@router.post("/release")
def release(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """A lead releases it, with a reason."""
    return _store(visit, tank, TankReleased.kind, {**typed, "tank": tank}, typed)


def _store(
    visit: Visit, tank: str, kind: str, sent: dict[str, str], typed: dict[str, str]
) -> Response:
    visit.tank(tank)
    try:
        entry = read_entry(kind, sent, visit.room, visit.person, visit.now)
        key = typed.get("submission")
        if isinstance(entry, TankReleased):
            release_tank(visit.store, visit.room.key, entry, visit.now, key)
        elif isinstance(entry, TankHeld):
            hold_tank(visit.store, visit.room.key, entry, visit.now, key)
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        return visit.page(TEMPLATE, _context(visit, tank, form), 422)
    answer = RedirectResponse(visit.address("tanks", tank), 303)
    if entry.by:
        remember_person(answer, entry.by)
    return answer


def _context(visit: Visit, tank: str, form: FormState) -> dict[str, Any]:
    state = hold(visit.session, visit.room_id, tank)
    named = {one.incident for one in state.holds if one.incident}
    open_ones = incidents(visit.session, visit.room_id, only_open=True) if named else []
    return {
        "tank": visit.tank(tank),
        "hold": state,
        "unsettled": [one for one in open_ones if one.key in named],
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
