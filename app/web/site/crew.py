"""The people of the room and their roles: who may overrule a gate or release a tank."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import Conflict, FieldErrors
from app.domain.roomlog.kinds.site import CREW, ROLES, CrewMember
from app.services import door
from app.services.crew import who_names_leads
from app.store.acting import acting
from app.store.site import crew
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry

router = APIRouter(prefix="/rooms/{room}/crew")
TEMPLATE = "site/crew.html"


@router.get("")
def people(visit: VisitDep) -> Response:
    """Who is here, and as what."""
    return visit.page(TEMPLATE, _context(visit, FormState()))


@router.post("")
def enter(visit: VisitDep, typed: FormDep) -> Response:
    """Enter a person, or change their role.

    Raises:
        Conflict: people sign in here, so that their accounts say who may do what.
    """
    if acting() is not None:
        raise Conflict(
            "People sign in here: a manager adds them and sets their roles under People."
        )
    sent = {**typed, "crew": CREW, "by": typed.get("by") or visit.person}
    try:
        entry = read_entry(CrewMember.kind, sent, visit.room, visit.person, visit.now)
        key = typed.get("submission")
        door.enter(visit.store, visit.room.key, [entry], visit.now, key)
    except FieldErrors as error:
        return visit.page(TEMPLATE, _context(visit, FormState(typed, error.by_field())), 422)
    return RedirectResponse(visit.address("crew"), 303)


def _context(visit: Visit, form: FormState) -> dict[str, Any]:
    return {
        "crew": crew(visit.session, visit.room_id),
        "form": form,
        "namers": who_names_leads(crew(visit.session, visit.room_id)),
        "roles": [(role, role.capitalize()) for role in ROLES],
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
