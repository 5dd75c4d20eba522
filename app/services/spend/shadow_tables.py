"""Working the costs of a room out beside its own tables, so that nobody waits for it.

A room of many entries is summed into temporary tables, which stand in front of the room's own for
the one connection that makes them; what comes out is then put in the place of the room's own. What
was entered meanwhile is taken in by the way that every entry goes.
"""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from sqlalchemy import Column, Index, MetaData, Table, delete, insert
from sqlmodel import Session, col, select

from app.services.backlog import last_entry_id
from app.services.baths.states import first_of_baths
from app.services.changes import Changes, changes_of
from app.services.entries import count_after, entry_of
from app.services.rooms import find_room
from app.services.spend.projection import TABLES, keep_spend, rebuild_spend
from app.services.transaction import write_in_turn
from app.store.engine import Store
from app.store.import_tables import BehindRow
from app.store.sessions import give_back, reading
from app.store.tables import EntryRow, RoomRow

FEW = 500  # entries that are taken in as those of a form are
SHORT = 5000  # entries behind the first of them

Own = Callable[[Session], tuple[RoomRow, BehindRow]]
Tell = Callable[[str, int, int], None]


def keep_costs(store: Store, room: str, own: Own, tell: Tell) -> None:
    """Bring the costs up to what is stored; then nothing is left for the room to wait for."""
    with reading(store) as session:
        row = find_room(session, room)
        assert row.id is not None
        behind = session.get(BehindRow, row.id)
        is_short = behind is not None and _is_short(session, row.id, behind.entry_id)
    if is_short:
        with write_in_turn(store, room) as session:
            row, behind = own(session)
            _take_in(session, row, behind.entry_id)
            session.delete(behind)
            row.version += 1
        return
    rows, seen, currency = _summed(store, room, tell)
    with write_in_turn(store, room) as session:
        row, behind = own(session)
        assert row.id is not None
        for table, values in rows:
            session.execute(delete(table).where(table.c.room_id == row.id))
            if values:
                session.execute(insert(table), values)
        session.expire_all()
        row.currency = currency
        _take_in(session, row, seen)
        session.delete(behind)
        row.version += 1


def _is_short(session: Session, room_id: int, after_id: int) -> bool:
    query = select(EntryRow.id).where(EntryRow.room_id == room_id, col(EntryRow.id) > after_id)
    if len(session.exec(query.limit(FEW + 1)).all()) > FEW:
        return False
    first = first_of_baths(_since(session, room_id, after_id))
    return first is None or count_after(session, room_id, first) <= SHORT


def _take_in(session: Session, room: RoomRow, after_id: int) -> None:
    """Take the room's entries behind a number into its costs."""
    assert room.id is not None
    changes = _since(session, room.id, after_id)
    if changes.news or changes.gone:
        keep_spend(session, room, changes, first_of_baths(changes))


def _since(session: Session, room_id: int, after_id: int) -> Changes:
    query = select(EntryRow).where(EntryRow.room_id == room_id, col(EntryRow.id) > after_id)
    rows = session.exec(query.order_by(col(EntryRow.id)))
    return changes_of(session, room_id, [entry_of(row) for row in rows])


def _summed(store: Store, room: str, tell: Tell) -> tuple[list[tuple[Any, list[Any]]], int, str]:
    """What the room's tables of costs are to hold, the last entry in it, and the currency."""
    with _aside(store) as session:
        row = find_room(session, room)
        session.expunge(row)  # the room itself is written with the rest
        seen = last_entry_id(session)
        rebuild_spend(session, row, tell)
        found = []
        for model in TABLES:
            table: Any = model.__table__  # type: ignore[union-attr]
            columns = [column for column in table.c if column.name != "id"]
            query = table.select().with_only_columns(*columns)
            if "id" in table.c:
                query = query.order_by(table.c.id)
            found.append((table, [dict(each._mapping) for each in session.execute(query)]))
    return found, seen, row.currency


@contextmanager
def _aside(store: Store) -> Iterator[Session]:
    """A session that sees the room as it stands now, and writes costs into tables of its own."""
    give_back()
    with store.reader.connect() as connection:
        if not store.is_sqlite:  # a snapshot there too
            connection.execution_options(isolation_level="REPEATABLE READ")
        own = _temporary()
        try:
            own.create_all(connection, checkfirst=False)
            with Session(connection) as session:
                yield session
                session.flush()
            own.drop_all(connection, checkfirst=False)
            connection.commit()
        except BaseException:
            connection.invalidate()  # its temporary tables go with it
            raise


def _temporary() -> MetaData:
    """Tables of the same names and columns that only one connection sees."""
    metadata = MetaData()
    for model in TABLES:
        table: Table = model.__table__  # type: ignore[union-attr]
        columns = [
            Column(each.name, each.type, primary_key=each.primary_key, nullable=each.nullable)
            for each in table.columns
        ]
        indexes = [Index(each.name, *(column.name for column in each.columns))
                   for each in table.indexes]  # fmt: skip
        Table(table.name, metadata, *columns, *indexes, prefixes=["TEMPORARY"])
    return metadata
