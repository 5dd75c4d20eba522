"""Working out anew what another version of the program has kept of a room, or all of it."""

from datetime import datetime

from sqlmodel import col, select

from app.services.changes import Progress
from app.services.projections import outdated, rebuild
from app.services.rooms import find_room
from app.services.transaction import write
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import RoomRow


def rebuild_room(store: Store, room: str, now: datetime, progress: Progress | None = None) -> None:
    """Work out anew all that follows from a room's log.

    Raises:
        NotFound: there is no such room.
    """
    with write(store, room) as session:
        row = find_room(session, room)
        rebuild(session, store, row, now, progress)
        row.version += 1


def rebuild_outdated(store: Store, now: datetime, progress: Progress | None = None) -> list[str]:
    """Work out anew what another version, or none, has kept; the rooms that had any of it."""
    with reading(store) as session:
        rooms = session.exec(select(RoomRow).order_by(col(RoomRow.id))).all()
        keys = [room.key for room in rooms if outdated(session, room)]
    for key in keys:
        with write(store, key) as session:
            held = select(RoomRow).where(RoomRow.id == find_room(session, key).id)
            row = session.exec(held.with_for_update()).one()
            if kinds := outdated(session, row):  # another server may have done it meanwhile
                rebuild(session, store, row, now, progress, kinds)
                row.version += 1
    return keys
