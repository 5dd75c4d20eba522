"""Reading what is known of imports."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sqlmodel import Session, col, select

from app.store.import_tables import BehindRow, ImportPartRow, ImportRow
from app.store.instants import from_us

QUIET_FOR = timedelta(seconds=30)  # a run that has not got on for so long has ended
RUNNING = ("storing", "stopping")
LISTED = 50


@dataclass(frozen=True)
class UnderWay:
    """What goes on in a room, or stopped in the middle: what its pages say about it.

    Attributes:
        token: of the import; empty where only figures are being worked out.
        is_stopped: it does not go on by itself.
        is_undo: an import is being taken back.
        done, total: entries in, or estimated where `is_stored`.
        is_stored: all entries are in; the figures follow.
    """

    token: str
    name: str
    done: int
    total: int
    is_stopped: bool = False
    is_undo: bool = False
    is_stored: bool = False


def find_import(session: Session, room_id: int, token: str) -> ImportRow | None:
    """The import that is called so."""
    query = select(ImportRow).where(ImportRow.room_id == room_id, ImportRow.token == token)
    return session.exec(query.execution_options(populate_existing=True)).first()


def imports(session: Session, room_id: int, most: int = LISTED) -> Sequence[ImportRow]:
    """The room's imports and what took them back, newest first."""
    query = select(ImportRow).where(ImportRow.room_id == room_id)
    return session.exec(query.order_by(col(ImportRow.id).desc()).limit(most)).all()


def open_imports(session: Session, room_id: int) -> Sequence[ImportRow]:
    """Those that go on, or stopped in the middle."""
    query = select(ImportRow).where(
        ImportRow.room_id == room_id, col(ImportRow.state).in_((*RUNNING, "stopped"))
    )
    return session.exec(query.order_by(col(ImportRow.id).desc())).all()


def parts_of(session: Session, import_id: int) -> list[tuple[int, int]]:
    """First and last number of each slice of entries, in the order in which they were stored."""
    query = select(ImportPartRow.first_id, ImportPartRow.last_id).where(
        ImportPartRow.import_id == import_id
    )
    return [
        (first, last) for first, last in session.exec(query.order_by(col(ImportPartRow.first_id)))
    ]


def brought_by(session: Session, room_id: int, ids: Sequence[int]) -> dict[int, ImportRow]:
    """The import that each of some entries came with, by their numbers in the database."""
    if not ids:
        return {}
    part = ImportPartRow
    found = session.exec(
        select(part.first_id, part.last_id, ImportRow)
        .join(ImportRow, col(ImportRow.id) == col(part.import_id))
        .where(ImportRow.room_id == room_id)
        .where(part.first_id <= max(ids), part.last_id >= min(ids))
    ).all()
    return {one: row for one in ids for first, last, row in found if first <= one <= last}


def undone_by(session: Session, row: ImportRow) -> ImportRow | None:
    """What took an import back, or is at it."""
    query = select(ImportRow).where(ImportRow.undoes == row.id)
    return session.exec(query.order_by(col(ImportRow.id).desc()).limit(1)).first()


def is_quiet(row: ImportRow, now: datetime) -> bool:
    """Nobody has got on with it for a while."""
    return from_us(row.touched_at_us) < now - QUIET_FOR


@dataclass(frozen=True)
class Noted:
    """What goes on in a room as it is noted, whenever that was.

    Attributes:
        touched_at: when the run last got on; None where only figures follow.
    """

    what: UnderWay
    touched_at: datetime | None

    def at(self, now: datetime) -> UnderWay:
        """As it stands: a run that has not got on for a while has ended."""
        if self.touched_at is None or self.touched_at >= now - QUIET_FOR:
            return self.what
        return replace(self.what, is_stopped=True)


def under_way(session: Session, room_id: int, now: datetime) -> UnderWay | None:
    """What the room's pages say: an import that goes on, figures that follow, one that stopped."""
    found = noted(session, room_id)
    return None if found is None else found.at(now)


def noted(session: Session, room_id: int) -> Noted | None:
    """What goes on in a room, changing with its version; None where nothing does."""
    rows = open_imports(session, room_id)
    behind = session.get(BehindRow, room_id)
    if not rows and behind is None:
        return None
    row = next((each for each in rows if each.state in RUNNING), rows[0] if rows else None)
    is_undo = bool(row and row.undoes)
    if row is None or (behind is not None and row.done >= row.total):
        token, name = (row.token, row.name) if row else ("", "")
        done, total = (behind.done, behind.total) if behind else (0, 0)
        return Noted(UnderWay(token, name, done, total, is_undo=is_undo, is_stored=True), None)
    is_stopped = row.state == "stopped"
    what = UnderWay(row.token, row.name, row.done, row.total, is_stopped, is_undo)
    return Noted(what, None if is_stopped else from_us(row.touched_at_us))
