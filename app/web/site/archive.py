"""A room that goes out of use, and comes back: never deleted, since its log is history."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds.site import ARCHIVE, RoomArchived, RoomRestored
from app.services import door
from app.services.archiving import still_open
from app.store.site import archive, crew
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, read_entry

router = APIRouter(prefix="/rooms/{room}/archive")
TEMPLATE = "site/archive.html"


@router.get("")
def archive_page(visit: VisitDep) -> Response:
    """What archiving does, what is to be seen to first, and the form."""
    return _page(visit, FormState())


@router.post("")
def change(visit: VisitDep, typed: FormDep) -> Response:
    """Archive the room, or restore it."""
    kind = RoomRestored.kind if typed.get("word") == "restore" else RoomArchived.kind
    sent = {**typed, "archive": ARCHIVE}
    try:
        entry = read_entry(kind, sent, visit.room, visit.person, visit.now)
        door.enter(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _page(visit, FormState(typed, error.by_field()), 422)
    return RedirectResponse(visit.address("archive"), 303)


def _page(visit: Visit, form: FormState, status: int = 200) -> Response:
    context: dict[str, Any] = {
        "state": archive(visit.session, visit.room_id),
        "still": still_open(visit.session, visit.room_id),
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(TEMPLATE, context, status)
