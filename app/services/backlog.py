"""Rooms in which more was stored than their figures have taken in yet.

While a log is brought in, its entries are stored first and the figures follow in slices. Until they
have, an entry that somebody makes meanwhile is stored at once and taken in with the others.
"""

from collections.abc import Sequence
from datetime import datetime

from sqlalchemy import func
from sqlmodel import Session, select

from app.domain.errors import Conflict
from app.domain.roomlog.kinds import Entry, Resin, Tank, TankChange
from app.services.baths.board import define_tanks
from app.services.definitions import define_resins
from app.services.entries import START, Place, place_of
from app.store.import_tables import BehindRow
from app.store.instants import to_us
from app.store.tables import EntryRow, HeadRow, RoomRow

NOTHING: frozenset[str] = frozenset()


def wait_behind(
    session: Session, room_id: int, place: Place | None, fresh: Sequence[Entry]
) -> frozenset[str]:
    """Note the first place that a write touched, where the room's figures follow later.

    The projections that follow later are given back.

    Raises:
        Conflict: a tank is set up, which nothing could be shown of until then.
    """
    row = session.get(BehindRow, room_id, populate_existing=True)
    if row is None:
        return NOTHING
    if row.is_estimated:
        return frozenset({"costs"})
    if place is not None:
        late = late_place(row)
        set_late(row, place if late is None else min(late, place))
        session.flush()
    if any(isinstance(entry, Tank) for entry in fresh):
        raise Conflict("A log is being imported. Set up the tank once it is done.")
    define(session, room_id, fresh)
    return frozenset({"baths", "costs", "litres"})


def define(session: Session, room_id: int, fresh: Sequence[Entry]) -> None:
    """Let the tanks and resins that were just set up be used at once."""
    if any(isinstance(entry, Resin) for entry in fresh):
        define_resins(session, room_id)
    if any(isinstance(entry, Tank | TankChange) for entry in fresh):
        define_tanks(session, room_id)


def fall_behind(session: Session, room: RoomRow, owner: str, now: datetime) -> None:
    """From now on the room's figures follow later, and `owner` sees to it."""
    assert room.id is not None
    row = session.get(BehindRow, room.id, populate_existing=True)
    if row is None:
        head = session.get(HeadRow, room.id, populate_existing=True)
        # The last entry itself holds; that it is taken in again does no harm.
        place = START if head is None else place_of(head)
        row = BehindRow(
            room_id=room.id, entry_id=last_entry_id(session), owner=owner, touched_at_us=0,
            **vars(place),
        )  # fmt: skip
    elif row.is_estimated:
        head = session.get(HeadRow, room.id, populate_existing=True)
        place = START if head is None else place_of(head)
        for name, value in vars(place).items():
            setattr(row, name, value)
        row.is_estimated, row.done, row.total = False, 0, 0
    row.owner, row.touched_at_us = owner, to_us(now)
    session.add(row)
    session.flush()


def last_entry_id(session: Session) -> int:
    """The number of the newest entry; whatever a room that is held gets next has a larger one."""
    return session.exec(select(func.max(EntryRow.id))).one() or 0


def late_place(row: BehindRow) -> Place | None:
    """The first place that was touched since somebody last looked."""
    if row.late_us is None or row.late_rank is None or row.late_sequence is None:
        return None
    return Place(row.late_us, row.late_rank, row.late_sequence)


def set_late(row: BehindRow, place: Place | None) -> None:
    """Note the first place that was touched, or that it was looked at."""
    row.late_us = place.moment_us if place else None
    row.late_rank = place.rank if place else None
    row.late_sequence = place.sequence if place else None
