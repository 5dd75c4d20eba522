"""How a thing of a room stood at an instant: its book read up to there, as it counts now."""

from collections.abc import Collection, Sequence
from datetime import datetime
from itertools import takewhile
from typing import Any, cast

from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.domain.things import fold
from app.services.entries import entry_of
from app.store.instants import to_us
from app.store.tables import EntryRow, LinkRow


def rows_of(
    session: Session, room_id: int, kind: str, key: str, until: datetime | None = None,
    without: Collection[str] = (),
) -> Sequence[EntryRow]:  # fmt: skip
    """The rows of a thing's book that count, in the order of truth; `until` then, or all.

    `without` names kinds of entries that do not matter to whoever asks.
    """
    query = (
        select(EntryRow)
        .join(LinkRow, cast(Any, col(LinkRow.entry_id) == col(EntryRow.id)))
        .where(LinkRow.room_id == room_id, LinkRow.thing == kind, LinkRow.key == key)
        .where(col(EntryRow.voided_by).is_(None))
        .order_by(col(LinkRow.moment_us), col(LinkRow.rank), col(LinkRow.sequence))
    )
    if until is not None:
        query = query.where(EntryRow.at_us <= to_us(until))
    if without:
        query = query.where(col(EntryRow.kind).not_in(without))
    return session.exec(query).all()


def thing_at(session: Session, room_id: int, kind: str, key: str, at: datetime) -> Any | None:
    """The state of a thing after all that happened by then; None where nothing had."""
    rows = rows_of(session, room_id, kind, key, at)
    return fold(THINGS[kind], key, map(entry_of, rows)) if rows else None


def thing_before(session: Session, room_id: int, kind: str, key: str, entry: str) -> Any:
    """The state of a thing just before an entry of its book, by the entry's id; as it stands where
    its book has no such entry that counts."""
    rows = takewhile(lambda row: row.uid != entry, rows_of(session, room_id, kind, key))
    return fold(THINGS[kind], key, map(entry_of, rows))
