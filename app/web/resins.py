"""The room's resins: their data, and the carry-in that the room has learned for each."""

from dataclasses import replace
from typing import Any

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds import Resin
from app.services import roomlog
from app.services.checkpoints import load_filter
from app.store import queries
from app.store.tables import RoomRow
from app.web.deps import NowDep, PersonDep, RoomDep, SessionDep, StoreDep
from app.web.forms import FormDep, FormState, read_entry
from app.web.render import page

router = APIRouter(prefix="/rooms/{room}/resins")


@router.get("")
def resins_page(request: Request, session: SessionDep, room: RoomDep) -> Response:
    """All resins, and the form of a new one."""
    return page(request, "resins/list.html", _context(session, room, FormState()))


@router.post("")
def add(
    request: Request, session: SessionDep, store: StoreDep, room: RoomDep, now: NowDep,
    person: PersonDep, typed: FormDep,
) -> Response:  # fmt: skip
    """Add a resin."""
    state = FormState(typed)
    try:
        entry = read_entry(Resin.kind, typed, room, person, now)
        known = {resin.key for resin in queries.resins(session, room.id or 0)}
        if getattr(entry, "resin", "") in known:
            raise FieldErrors([FieldError("resin", "There is a resin with this key already.")])
        roomlog.record(store, room.key, [entry], now, typed.get("submission"))
        return RedirectResponse(f"/rooms/{room.key}/resins", 303)
    except FieldErrors as error:
        state = replace(state, errors=error.by_field())
    answer = page(request, "resins/list.html", _context(session, room, state))
    answer.status_code = 422
    return answer


def _context(session: Session, room: RoomRow, form: FormState) -> dict[str, Any]:
    learned = {item.resin: item for item in load_filter(session, room).carry_in()}
    return {
        "room": room,
        "form": form,
        "resins": queries.resins(session, room.id or 0),
        "learned": learned,
        "specs": Resin.specs(),
    }
