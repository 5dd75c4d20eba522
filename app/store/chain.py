"""Reading the chain of a room, and its log in the order of the chain."""

from collections.abc import Iterator
from typing import Any

from sqlmodel import Session, col, func, select

from app.domain.chain import COVERED
from app.domain.chain_walk import Link
from app.store.chain_tables import ChainLinkRow, ChainRow
from app.store.engine import Store
from app.store.tables import EntryRow, RoomRow

PAGE = 2000
_ENTRY: Any = EntryRow.__table__  # type: ignore[attr-defined]
_COLUMNS = [_ENTRY.c[name] for name in ("id", "voided_by", *COVERED)]


def of_one_moment(session: Session, store: Store) -> None:
    """Have all reads of a session see the database as it is at the first of them."""
    if not store.is_sqlite:  # there a transaction sees one moment anyway
        session.connection(execution_options={"isolation_level": "REPEATABLE READ"})


def rows_of(session: Session, room_id: int) -> Iterator[dict[str, Any]]:
    """The rows of a room's log by their number in the database, a page at a time."""
    # The sum keeps an index of the room from being taken, which would be sorted for each page.
    query = select(*_COLUMNS).where(_ENTRY.c.room_id + 0 == room_id)
    query = page = query.order_by(_ENTRY.c.id).limit(PAGE)
    while rows := session.execute(page).mappings().all():
        yield from (dict(row) for row in rows)
        page = query.where(_ENTRY.c.id > rows[-1]["id"])


def links_of(session: Session, room_id: int) -> Iterator[Link]:
    """The links of a room's chain in order, a page at a time."""
    table: Any = ChainLinkRow.__table__  # type: ignore[attr-defined]
    query = select(table.c.number, table.c.uid, table.c.digest).where(table.c.room_id == room_id)
    query = page = query.order_by(table.c.number).limit(PAGE)
    while rows := session.execute(page).all():
        yield from (Link(number, uid, bytes(digest)) for number, uid, digest in rows)
        page = query.where(table.c.number > rows[-1][0])


def has_entry(session: Session, room_id: int, uid: str) -> bool:
    """Whether the room's log has an entry with this id."""
    query = select(EntryRow.id).where(EntryRow.room_id == room_id, EntryRow.uid == uid)
    return session.exec(query).first() is not None


def has_link(session: Session, room_id: int, uid: str) -> bool:
    """Whether the room's chain has a link to this id."""
    query = select(ChainLinkRow.number).where(
        ChainLinkRow.room_id == room_id, ChainLinkRow.uid == uid
    )
    return session.exec(query).first() is not None


def chain_of(session: Session, room_id: int) -> ChainRow | None:
    """The end of a room's chain; None where nothing was stored since there are chains."""
    return session.get(ChainRow, room_id)


def recorded_at(session: Session, room_id: int, number: int) -> int | None:
    """When the entry of this number in the chain was recorded, in microseconds."""
    query = (
        select(EntryRow.recorded_at_us)
        .join(ChainLinkRow, col(ChainLinkRow.uid) == col(EntryRow.uid))
        .where(EntryRow.room_id == room_id, ChainLinkRow.room_id == room_id)
        .where(ChainLinkRow.number == number)
    )
    return session.exec(query).first()


def unchained(session: Session) -> list[str]:
    """The keys of rooms that have entries and no chain."""
    query = (
        select(RoomRow.key)
        .where(RoomRow.sequence > 0, col(RoomRow.id).not_in(select(ChainRow.room_id)))
        .order_by(col(RoomRow.id))
    )
    return list(session.exec(query))


def count_of(session: Session, room_id: int) -> int:
    """How many entries the room's log has."""
    query = select(func.count()).select_from(EntryRow).where(EntryRow.room_id == room_id)
    return session.exec(query).one()
