"""Where the states of a fold lie: the last one of each, and earlier ones on the way to it."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import delete, insert, literal_column, text
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.domain.folds import Key, superfluous
from app.services.entries import Place, after, before, place_of

POSTGRES = "postgresql"


@dataclass(frozen=True)
class Mark:
    """A state on the way, as it is kept: after so many entries, the last one at a place."""

    entries: int
    place: Place
    kept: bytes | str


def written_now(session: Session) -> str:
    """What names this transaction as the writer of a row; empty where one program writes."""
    if session.get_bind().dialect.name != POSTGRES:
        return ""
    return str(session.connection().scalar(text("SELECT pg_current_xact_id()::xid::text")))


def _writer(session: Session) -> Any:
    """The transaction that wrote a row: another server may have folded a state anew, so that it
    has the same place and as many entries, and yet is another one."""
    is_shared = session.get_bind().dialect.name == POSTGRES
    return literal_column("xmin::text" if is_shared else "''")


@dataclass(frozen=True)
class States:
    """The two tables of a fold's states.

    Attributes:
        heads: the state after the last entry, one row a key.
        marks: states at earlier places, from which a late entry is folded.
        names: the columns of both that hold the key; none where a room has one state.
    """

    heads: Any
    marks: Any
    names: tuple[str, ...] = ()

    def head(self, session: Session, room_id: int, key: Key) -> Any | None:
        """The row of the last state."""
        return session.get(self.heads, (room_id, *self._key(key)))

    def head_place(self, session: Session, room_id: int, key: Key) -> tuple[Place, int, str] | None:
        """Where the last state stands, how many entries it took, and which transaction wrote it,
        without reading it."""
        heads = self.heads
        columns = heads.moment_us, heads.rank, heads.sequence, heads.entries, _writer(session)
        query = sql_select(*columns).where(*self._of(heads, room_id, key))
        row = session.execute(query).first()
        return None if row is None else (Place(*row[:3]), row[3], row[4])

    def last_before(self, session: Session, room_id: int, key: Key, place: Place) -> Mark | None:
        """The last state kept before a place."""
        marks = self.marks.__table__
        row = session.execute(
            marks.select()
            .where(*self._of(self.marks, room_id, key), before(self.marks, place))
            .order_by(col(self.marks.entries).desc())
            .limit(1)
        ).first()
        return None if row is None else Mark(row.entries, place_of(row), row.state)

    def drop_after(self, session: Session, room_id: int, key: Key, place: Place) -> None:
        """Drop the states on the way behind a place."""
        own = *self._of(self.marks, room_id, key), after(self.marks, place)
        session.execute(delete(self.marks.__table__).where(*own))

    def put_head(
        self, session: Session, room_id: int, key: Key, mark: Mark, more: Mapping[str, Any]
    ) -> None:
        """Store the last state."""
        row = self.head(session, room_id, key)
        if row is None:
            row = self.heads(room_id=room_id, **dict(zip(self.names, key, strict=False)))
        values = {**vars(mark.place), "entries": mark.entries, "state": mark.kept, **more}
        for name, value in values.items():
            setattr(row, name, value)
        session.add(row)
        session.flush()

    def drop_head(self, session: Session, room_id: int, key: Key) -> None:
        """Drop the last state: no entry counts any more."""
        row = self.head(session, room_id, key)
        if row is not None:
            session.delete(row)
        session.flush()

    def put_marks(
        self, session: Session, room_id: int, key: Key, marks: Sequence[Mark], entries: int,
        farthest: float = math.inf,
    ) -> None:  # fmt: skip
        """Store states on the way, and drop all that stand closer than their age calls for."""
        own = self._of(self.marks, room_id, key)
        there = session.exec(select(self.marks.id, self.marks.entries).where(*own))
        stored = [(number, count) for number, count in there if number is not None]
        new = {-number: mark for number, mark in enumerate(marks, 1)}
        counts = [*stored, *((number, mark.entries) for number, mark in new.items())]
        dropped = set(superfluous(sorted(counts, key=lambda one: one[1]), entries, farthest))
        if old := [number for number, _ in stored if number in dropped]:
            table = self.marks.__table__
            session.execute(delete(table).where(table.c.id.in_(old)))
        rows = [
            {
                "room_id": room_id, **dict(zip(self.names, key, strict=False)),
                "entries": mark.entries, **vars(mark.place), "state": mark.kept,
            }
            for number, mark in new.items()
            if number not in dropped
        ]  # fmt: skip
        if rows:
            session.execute(insert(self.marks.__table__), rows)

    def clear(self, session: Session, room_id: int, kinds: Collection[str]) -> None:
        """Drop all states of some kinds."""
        for table in (self.heads, self.marks):
            own = [col(table.room_id) == room_id]
            if self.names:
                own.append(col(getattr(table, self.names[0])).in_(kinds))
            session.execute(delete(table).where(*own))

    def _key(self, key: Key) -> tuple[str, ...]:
        return key[: len(self.names)]

    def _of(self, table: Any, room_id: int, key: Key) -> list[Any]:
        named = zip(self.names, key, strict=False)
        return [
            col(table.room_id) == room_id, *(getattr(table, name) == word for name, word in named)
        ]  # fmt: skip
