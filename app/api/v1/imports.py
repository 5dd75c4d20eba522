"""What was brought in with files: how far each is, stopping one, taking one back."""

from datetime import datetime
from typing import Literal

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from app.api.deps import RoomDep, WrittenRoomDep, room_id
from app.api.requests import StrictRoute
from app.domain.errors import NotFound
from app.incoming import NowDep, SessionDep, StoreDep
from app.services.importing.deciding import has_decided
from app.services.importing.storing import ask_to_stop
from app.services.importing.undoing import undo
from app.services.leading import require_lead
from app.store.engine import Store
from app.store.import_tables import ImportRow
from app.store.imports import find_import, imports
from app.store.instants import from_us
from app.store.sessions import reading
from app.store.tables import RoomRow

router = APIRouter(prefix="/v1/rooms/{room}/imports", tags=["whole logs"], route_class=StrictRoute)


class ImportOut(BaseModel):
    """A file that was brought in, or an import that was taken back."""

    token: str
    name: str
    by: str
    state: Literal["storing", "stopping", "stopped", "stored", "undone"]
    is_undo: bool = Field(description="It takes back another import.")
    started_at: datetime
    total: int
    done: int = Field(description="Entries that are in.")
    changed: int = Field(description="How many of them correct an earlier entry.")
    kept: int = Field(description="Of one that takes back: how many entries stay.")
    message: str


class UndoIn(BaseModel):
    """Who takes an import back."""

    model_config = ConfigDict(extra="forbid")

    by: str = Field(default="", max_length=80)


@router.get("")
def list_imports(session: SessionDep, room: RoomDep) -> list[ImportOut]:
    """The room's imports, newest first, those that stopped in the middle included."""
    return [_out(row) for row in imports(session, room_id(room))]


@router.post("/{token}/stop", status_code=202)
def stop_import(store: StoreDep, room: WrittenRoomDep, now: NowDep, token: str) -> ImportOut:
    """Have it stop after the entries that it is at; what is in stays, and can be taken back."""
    _found(store, room, token)
    ask_to_stop(store, room.key, token, now)
    return _out(_found(store, room, token))


@router.post("/{token}/undo")
def undo_import(
    request: Request, store: StoreDep, room: WrittenRoomDep, token: str, said: UndoIn
) -> ImportOut:
    """Withdraw all that it brought, put back what it changed; answered when all of it is done.

    What the room's rules keep, and what was corrected since, stays and is named.
    """
    found = _found(store, room, token)
    with reading(store) as session:
        if has_decided(session, room_id(room), found):
            require_lead(session, room_id(room), said.by)
    done = undo(store, room.key, token, said.by, request.app.state.clock)
    return _out(_found(store, room, done.token))


def _found(store: Store, room: RoomRow, token: str) -> ImportRow:
    with reading(store) as session:
        row = find_import(session, room_id(room), token)
    if row is None:
        raise NotFound(f"There is no import “{token[:64]}” in this room.")
    return row


def _out(row: ImportRow) -> ImportOut:
    return ImportOut(
        **{name: getattr(row, name) for name in (
            "token", "name", "by", "state", "total", "done", "changed", "kept", "message",
        )},
        is_undo=row.undoes is not None, started_at=from_us(row.started_at_us),
    )  # fmt: skip
