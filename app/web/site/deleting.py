"""An archived room deleted for good, once its record is taken away."""

import uuid
from typing import Any

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.services.deleting import delete_room, managers_of
from app.services.verifying import chained
from app.store.acting import acting
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState

router = APIRouter(prefix="/rooms/{room}/delete")
TEMPLATE = "site/delete.html"


@router.get("")
def delete_page(visit: VisitDep) -> Response:
    """What goes, what stays, the record to take away, and the form."""
    return _page(visit, FormState({"manager": visit.person}))


@router.post("")
def delete(request: Request, visit: VisitDep, typed: FormDep) -> Response:
    """Delete the room."""
    try:
        delete_room(
            visit.store, request.app.state.settings.data_dir, visit.room.key,
            typed.get("room_name", ""), typed.get("manager", ""), visit.now, visit.photos,
        )  # fmt: skip
    except FieldErrors as error:
        beside = {"by": "manager"}  # a form has a hidden `by`: who the tablet is with
        errors = {beside.get(name, name): said for name, said in error.by_field().items()}
        return _page(visit, FormState(typed, errors), 422)
    return RedirectResponse("/rooms", 303)


def _page(visit: Visit, form: FormState, status: int = 200) -> Response:
    context: dict[str, Any] = {
        "is_archived": visit.is_archived,
        "end": chained(visit.session, visit.room),
        "who": [(name, name) for name in managers_of(visit.session, visit.room_id)],
        "is_signed": acting() is not None,
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(TEMPLATE, context, status)
