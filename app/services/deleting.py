"""Deleting a room for good: an archived one only, by a manager, who types its name.

What stays is that there was one: who deleted it and when, how many entries its log had, and the end
of its chain, so that an exported log can still be told to be the whole of it.
"""

import logging
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlmodel import Session, select

from app.domain.chain import anchor_at
from app.domain.errors import Conflict, FieldError, FieldErrors, NotAllowed, Unavailable
from app.domain.people.permissions import MANAGER, PEOPLE, refusal_of
from app.domain.roomlog.fields import check_text
from app.services.caching import forget
from app.services.rooms import find_room
from app.services.transaction import write
from app.store import chain
from app.store.acting import acting
from app.store.deleted_tables import DeletedRoomRow
from app.store.deleting import deleted_rooms, drop_room
from app.store.drafts import DraftFolder
from app.store.engine import Store
from app.store.imports import RUNNING, open_imports
from app.store.instants import from_us, to_us
from app.store.photos import PhotoFolder, Photos
from app.store.room_photos import own_photos
from app.store.site import archive, crew
from app.store.tables import RoomRow

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class Deleted:
    """What is known of a room that was deleted.

    Attributes:
        code: the anchor of the end of its log; empty where nothing was logged.
    """

    key: str
    name: str
    created_at: datetime
    at: datetime
    by: str
    entries: int
    code: str
    photos: int


def deleted(session: Session) -> list[Deleted]:
    """The rooms that were deleted, the last one first."""
    return [_told(row) for row in deleted_rooms(session)]


def managers_of(session: Session, room_id: int) -> list[str]:
    """Who may delete a room where nobody signs in: its managers, else its leads; empty: anybody."""
    found = crew(session, room_id)
    managers = [one.name for one in found.people if one.role == MANAGER and not one.has_left]
    return managers or list(found.leads)


def delete_room(
    store: Store,
    data_dir: Path,
    key: str,
    typed_name: str,
    by: str,
    now: datetime,
    kept: Photos | None = None,
) -> Deleted:
    """Delete an archived room with all that belongs to it; `kept` has its photos, else the folder.

    Photos that another room names as well stay. A photo file that cannot be removed is logged.

    Raises:
        NotFound: there is no such room.
        NotAllowed: whoever is signed in is no manager.
        Conflict: it is in use, or an import goes on in it.
        FieldErrors: the name is not the room's, or whoever says so may not.
    """
    with write(store, key) as session:
        held = select(RoomRow).where(RoomRow.id == find_room(session, key).id)
        room = session.exec(held.with_for_update()).one()
        room_id = room.id or 0
        row = _checked(session, room, typed_name, by, now)
        photos = own_photos(session, room_id)
        row.photos = len(photos)
        drop_room(session, room)
        session.expunge(room)
        session.add(row)
        session.flush()
        told = _told(row)
    store.states.pop(room_id, None)
    forget(store.reader, room_id)
    try:
        DraftFolder(data_dir).drop_all(room_id)
        (kept or PhotoFolder(data_dir)).remove(photos)
    except (OSError, Unavailable) as error:
        _log.warning("Files of the deleted room %s could not all be removed: %s", key, error)
    return told


def _checked(
    session: Session, room: RoomRow, typed_name: str, by: str, now: datetime
) -> DeletedRoomRow:
    room_id = room.id or 0
    actor = acting()
    if actor is not None and not actor.may(PEOPLE):
        raise NotAllowed(refusal_of(actor.role, PEOPLE))
    if not archive(session, room_id).is_archived:
        raise Conflict(f"Archive “{room.name}” first. Nothing was deleted.")
    if any(row.state in RUNNING for row in open_imports(session, room_id)):
        raise Conflict(
            f"An import is running in “{room.name}”. Stop it first. Nothing was deleted."
        )
    errors = []
    if typed_name.strip() != room.name:
        errors.append(FieldError("room_name", f"Type the room's name exactly: {room.name}."))
    who = actor.name if actor is not None else check_text("by", by, 80)
    may = managers_of(session, room_id)
    if not who:
        errors.append(FieldError("by", "Give your name."))
    elif actor is None and may and who not in may:
        errors.append(FieldError("by", f"Only a manager can do this: {', '.join(may)}."))
    if errors:
        raise FieldErrors(errors)
    end = chain.chain_of(session, room_id)
    return DeletedRoomRow(
        room_id=room_id, key=room.key, name=room.name, created_at_us=room.created_at_us,
        at_us=to_us(now), by=who, photos=0,
        entries=0 if end is None else end.number, digest=b"" if end is None else bytes(end.digest),
    )  # fmt: skip


def _told(row: DeletedRoomRow) -> Deleted:
    code = anchor_at(row.entries, bytes(row.digest)).code if row.entries else ""
    return Deleted(
        row.key, row.name, from_us(row.created_at_us), from_us(row.at_us), row.by, row.entries,
        code, row.photos,
    )  # fmt: skip
