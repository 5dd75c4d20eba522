"""Reading the log: which entries count, in the order of truth."""

import json
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from sqlalchemy import ColumnElement, and_, func, tuple_
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import BATH_KINDS, Entry
from app.domain.roomlog.lines import restore
from app.store.instants import from_us, maybe_from_us
from app.store.tables import EntryRow

PAGE = 2000


@dataclass(frozen=True, order=True)
class Place:
    """A place in the order of truth."""

    moment_us: int
    rank: int
    sequence: int


START = Place(-(2**62), 0, 0)


def place_of(row: Any) -> Place:
    """The place of a row that has one."""
    return Place(row.moment_us, row.rank, row.sequence)


def after(table: Any, place: Place) -> ColumnElement[bool]:
    """The rows of `table` behind a place."""
    return tuple_(*_columns(table)) > tuple_(*_values(place))


def before(table: Any, place: Place) -> ColumnElement[bool]:
    """The rows of `table` in front of a place."""
    return tuple_(*_columns(table)) < tuple_(*_values(place))


def _values(place: Place) -> tuple[int, int, int]:
    return place.moment_us, place.rank, place.sequence


def _columns(table: Any) -> tuple[Any, ...]:
    return table.moment_us, table.rank, table.sequence


def entry_of(row: Any) -> Entry:
    """The entry that a row of the log holds."""
    header = {
        "at": from_us(row.at_us),
        "id": row.uid,
        "entered_at": maybe_from_us(row.entered_at_us),
        "by": row.by,
        "note": row.note,
        "corrects": row.corrects or "",
    }
    return restore(row.kind, header, json.loads(row.fields))


def counting_after(
    session: Session, room_id: int, place: Place, page: int = PAGE,
    kinds: Collection[str] = BATH_KINDS,
) -> Iterator[Any]:  # fmt: skip
    """Rows of the entries of some kinds that count behind a place, in order, a page at a time."""
    table = EntryRow.__table__  # type: ignore[attr-defined]
    query = (
        table.select().where(_counts(room_id), _of(kinds)).order_by(*_columns(EntryRow)).limit(page)
    )
    while True:
        rows = session.execute(query.where(after(EntryRow, place))).all()
        yield from rows
        if len(rows) < page:
            return
        place = place_of(rows[-1])


def count_after(
    session: Session, room_id: int, place: Place, kinds: Collection[str] = BATH_KINDS
) -> int:
    """How many entries of some kinds that count lie behind a place."""
    query = select(func.count()).select_from(EntryRow)
    return session.exec(query.where(_counts(room_id), _of(kinds), after(EntryRow, place))).one()


def counting_of_kind(session: Session, room_id: int, *kinds: str) -> Iterator[Entry]:
    """All entries of these kinds that count, in order."""
    rows = session.exec(
        select(EntryRow)
        .where(_counts(room_id), EntryRow.kind.in_(kinds))  # type: ignore[attr-defined]
        .order_by(*_columns(EntryRow))
    )
    return (entry_of(row) for row in rows)


def _of(kinds: Collection[str]) -> ColumnElement[bool]:
    return col(EntryRow.kind).in_(kinds)


def _counts(room_id: int) -> ColumnElement[bool]:
    return and_(col(EntryRow.room_id) == room_id, col(EntryRow.voided_by).is_(None))


def stored_ids(session: Session, room_id: int, ids: Iterable[str]) -> set[str]:
    """Which of these ids the room has."""
    wanted = [one for one in ids if one]
    found: set[str] = set()
    for start in range(0, len(wanted), 500):
        some = wanted[start : start + 500]
        query = select(EntryRow.uid).where(EntryRow.room_id == room_id, EntryRow.uid.in_(some))  # type: ignore[attr-defined]
        found.update(session.exec(query))
    return found
