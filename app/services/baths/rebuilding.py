"""Working a room's estimates out anew from its log."""

from datetime import datetime

from sqlalchemy import func
from sqlmodel import col, select

from app.domain.baths.estimator import STATE_FORMAT
from app.services.baths.projection import Progress, rebuild
from app.services.rooms import find_room
from app.services.spend.keeping import FORMAT, rebuild_spend
from app.services.things import rebuild_things
from app.services.transaction import write
from app.store.engine import Store
from app.store.sessions import reading
from app.store.spend_tables import SpendHeadRow
from app.store.tables import HeadRow, RoomRow


def rebuild_room(store: Store, room: str, now: datetime, progress: Progress | None = None) -> None:
    """Work out anew all that follows from a room's log.

    Raises:
        NotFound: there is no such room.
    """
    with write(store, room) as session:
        row = find_room(session, room)
        rebuild(session, store, row, now, progress)
        rebuild_things(session, row.id or 0)
        rebuild_spend(session, row, progress)
        row.version += 1


def rebuild_outdated(store: Store, now: datetime, progress: Progress | None = None) -> list[str]:
    """Work out anew the rooms whose states or roll-ups another version has kept.

    The rooms are those whose estimates are new.
    """
    with reading(store) as session:
        kept_format = func.substr(col(HeadRow.state), 1, len(STATE_FORMAT))
        query = select(RoomRow.key).join(HeadRow, col(HeadRow.room_id) == col(RoomRow.id))
        outdated = list(session.exec(query.where(kept_format != STATE_FORMAT)).all())
    for room in outdated:
        rebuild_room(store, room, now, progress)
    _rebuild_outdated_spend(store, progress)
    return outdated


def _rebuild_outdated_spend(store: Store, progress: Progress | None) -> None:
    """Work out anew the roll-ups of costs that another version, or none, has kept."""
    with reading(store) as session:
        query = select(RoomRow.key).join(
            SpendHeadRow, col(SpendHeadRow.room_id) == col(RoomRow.id), isouter=True
        )
        is_other = col(SpendHeadRow.format).is_(None) | (col(SpendHeadRow.format) != FORMAT)
        outdated = list(session.exec(query.where(is_other, col(RoomRow.sequence) > 0)).all())
    for room in outdated:
        with write(store, room) as session:
            row = find_room(session, room)
            rebuild_spend(session, row, progress)
            row.version += 1
