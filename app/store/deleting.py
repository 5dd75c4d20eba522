"""Taking all rows of a room out of the database, and reading what stays of those that went."""

from collections.abc import Sequence
from importlib import import_module

from sqlalchemy import delete, func
from sqlmodel import Session, SQLModel, col, select

from app.store.deleted_tables import DeletedRoomRow
from app.store.import_tables import ImportPartRow, ImportRow
from app.store.tables import RoomRow, SubmissionRow

# All modules with tables: what is not imported is not known to have rows of the room.
_TABLES = (
    "chain_tables", "import_tables", "litres_tables", "people_tables", "photo_tables",
    "projection_tables", "spend.tables", "tables",
)  # fmt: skip


def deleted_rooms(session: Session) -> Sequence[DeletedRoomRow]:
    """The rooms that were deleted, the last one first."""
    query = select(DeletedRoomRow).order_by(col(DeletedRoomRow.at_us).desc())
    return session.exec(query).all()


def free_number(session: Session) -> int:
    """A number that no room has or had: what is kept in memory of one must not fit another."""
    had = session.exec(select(func.max(DeletedRoomRow.room_id))).one() or 0
    return max(had, session.exec(select(func.max(RoomRow.id))).one() or 0) + 1


def drop_room(session: Session, room: RoomRow) -> None:
    """Delete each row of a room, of all tables, and the room."""
    for name in _TABLES:
        import_module(f"app.store.{name}")
    runs = select(ImportRow.id).where(ImportRow.room_id == room.id)
    session.execute(delete(ImportPartRow).where(col(ImportPartRow.import_id).in_(runs)))
    own = col(SubmissionRow.key).startswith(f"{room.key}/", autoescape=True)
    session.execute(delete(SubmissionRow).where(own))
    for table in reversed(SQLModel.metadata.sorted_tables):
        if "room_id" in table.c and table.name != DeletedRoomRow.__tablename__:
            session.execute(delete(table).where(table.c.room_id == room.id))
    session.execute(delete(RoomRow).where(col(RoomRow.id) == room.id))
