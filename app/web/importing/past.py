"""What was brought in: how far it is, stopping it, leaving it, taking it back."""

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import NotFound
from app.services.importing.deciding import has_decided
from app.services.importing.storing import ask_to_stop, keep_part
from app.services.leading import require_lead
from app.store.import_tables import ImportRow
from app.store.imports import RUNNING, find_import, is_quiet, undone_by
from app.store.instants import from_us
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep
from app.web.importing.pages import ImportsDep
from app.web.render import wants_fragment

router = APIRouter(prefix="/rooms/{room}/imports")


@router.get("/under-way")
def under_way(visit: VisitDep) -> Response:
    """The notice of what goes on, which every page of the room shows."""
    return visit.fragment("importing/under_way.html", "under_way", {})


@router.get("/{run}")
def show(visit: VisitDep, run: str, imports: ImportsDep) -> Response:
    """How far an import is, and what can be done about it."""
    row = _found(visit, run)
    undone = undone_by(visit.session, row)
    context = {
        "row": row,
        "began_at": from_us(row.started_at_us),
        "is_running": row.state in RUNNING and not is_quiet(row, visit.now),
        "has_file": imports.has_file(run),
        "undoing": imports.undoing(run),
        "undone": undone,
        "undone_at": from_us(undone.started_at_us) if undone else None,
    }
    if wants_fragment(visit.request):
        return visit.fragment("importing/past.html", "past", context)
    return visit.page("importing/past.html", context)


@router.post("/{run}/stop")
def stop(visit: VisitDep, run: str) -> Response:
    """Have it stop after what it is at."""
    row = _found(visit, run)
    ask_to_stop(visit.store, visit.room.key, row.token, visit.now)
    return _to(visit, row)


@router.post("/{run}/keep")
def keep(visit: VisitDep, run: str) -> Response:
    """Leave what is in of one that stopped as it is."""
    row = _found(visit, run)
    keep_part(visit.store, visit.room.key, row.token)
    return _to(visit, row)


@router.post("/{run}/undo")
def undo(visit: VisitDep, run: str, imports: ImportsDep, _typed: FormDep) -> Response:
    """Take it back, in the background."""
    row = _found(visit, run)
    if has_decided(visit.session, visit.room_id, row):
        require_lead(visit.session, visit.room_id, visit.person)
    imports.undo(visit.room.key, row.token, visit.person)
    return _to(visit, row)


def _found(visit: Visit, run: str) -> ImportRow:
    row = find_import(visit.session, visit.room_id, run)
    if row is None:
        raise NotFound("There is no such import in this room.")
    return row


def _to(visit: Visit, row: ImportRow) -> Response:
    return RedirectResponse(visit.address("imports", row.token), 303)
