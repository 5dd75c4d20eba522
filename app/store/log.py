"""Pages of the log, newest first, found by seeking; and the history of one entry."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import tuple_
from sqlmodel import Session, col, select

from app.domain.errors import FieldError, NotFound
from app.store.tables import CourseRow, EntryRow, LinkRow

MOST_PER_PAGE = 200


@dataclass(frozen=True)
class LogFilter:
    """Which entries to show; None leaves a property open.

    Attributes:
        with_voided: also show entries that were corrected or withdrawn.
        since_us, until_us: times of happening, the first included, the second not.
        thing: kind and key of a thing in whose book the entries are.
    """

    tank: str | None = None
    kind: str | None = None
    resin: str | None = None
    by: str | None = None
    since_us: int | None = None
    until_us: int | None = None
    with_voided: bool = True
    thing: tuple[str, str] | None = None


@dataclass(frozen=True)
class LoggedEntry:
    """An entry and what it did to the estimate, where it did anything."""

    row: EntryRow
    effect: CourseRow | None


@dataclass(frozen=True)
class LogPage:
    """One page of the log and the cursors of the pages beside it; None at the ends."""

    entries: tuple[LoggedEntry, ...]
    older: str | None
    newer: str | None


def log_page(
    session: Session, room_id: int, shown: LogFilter, cursor: str | None = None, most: int = 25
) -> LogPage:
    """The page at a cursor, the newest without one.

    Raises:
        FieldError: the cursor was not made by this program.
    """
    upwards, edge = _parsed(cursor)
    key = tuple_(EntryRow.at_us, EntryRow.id)
    query = select(EntryRow, CourseRow).join(
        CourseRow, col(CourseRow.entry_id) == col(EntryRow.id), isouter=True
    )
    query = _filtered(query, room_id, shown)
    if edge is not None:
        query = query.where(key > edge if upwards else key < edge)
    columns = (col(EntryRow.at_us), col(EntryRow.id))
    order = columns if upwards else tuple(column.desc() for column in columns)
    found = session.exec(query.order_by(*order).limit(min(most, MOST_PER_PAGE) + 1)).all()
    has_more = len(found) > most
    rows = list(found[:most])
    if upwards:
        rows.reverse()
    entries = tuple(LoggedEntry(row, effect) for row, effect in rows)
    older, newer = has_more or upwards, (has_more if upwards else edge is not None)
    return LogPage(
        entries,
        _cursor("b", entries[-1].row) if entries and older else None,
        _cursor("a", entries[0].row) if entries and newer else None,
    )


def _filtered(query, room_id: int, shown: LogFilter):  # type: ignore[no-untyped-def]
    query = query.where(EntryRow.room_id == room_id)
    for column, value in ((EntryRow.tank, shown.tank), (EntryRow.kind, shown.kind),
                          (EntryRow.resin, shown.resin), (EntryRow.by, shown.by)):  # fmt: skip
        if value is not None:
            query = query.where(column == value)
    if shown.since_us is not None:
        query = query.where(EntryRow.at_us >= shown.since_us)
    if shown.until_us is not None:
        query = query.where(EntryRow.at_us < shown.until_us)
    if shown.thing is not None:
        kind, key = shown.thing
        book = select(LinkRow.entry_id).where(
            LinkRow.room_id == room_id, LinkRow.thing == kind, LinkRow.key == key
        )
        query = query.where(col(EntryRow.id).in_(book))
    if not shown.with_voided:
        query = query.where(col(EntryRow.voided_by).is_(None))
    return query


def _cursor(direction: str, row: EntryRow) -> str:
    return f"{direction}{row.at_us}.{row.id}"


def _parsed(cursor: str | None) -> tuple[bool, tuple[int, int] | None]:
    """Whether the page lies towards newer entries, and the entry it starts beside."""
    if not cursor:
        return False, None
    try:
        direction, (at_us, entry_id) = cursor[0], cursor[1:].split(".")
        edge = (int(at_us), int(entry_id))
    except ValueError:
        edge = (0, 2**63)
    if cursor[0] not in "ab" or not all(abs(number) < 2**62 for number in edge):
        raise FieldError("cursor", "This page address is not valid. Start from the newest.")
    return direction == "a", edge


def find_entry(session: Session, room_id: int, uid: str) -> EntryRow:
    """The entry of that id.

    Raises:
        NotFound: there is none in this room.
    """
    row = session.exec(
        select(EntryRow).where(EntryRow.room_id == room_id, EntryRow.uid == uid)
    ).first()
    if row is None:
        raise NotFound(f"There is no entry “{uid[:64]}” in this room.")
    return row


def history_of(session: Session, room_id: int, uid: str, most: int = 100) -> Sequence[EntryRow]:
    """The entry with all that it replaced and all that replaced or withdrew it, oldest first."""
    first = find_entry(session, room_id, uid)
    for _ in range(most):
        if first.corrects is None:
            break
        first = find_entry(session, room_id, first.corrects)
    chain = [first]
    while chain[-1].voided_by is not None and len(chain) < most:
        chain.append(find_entry(session, room_id, chain[-1].voided_by))
    return chain


def entries_of(session: Session, room_id: int, uids: Iterable[str]) -> Sequence[EntryRow]:
    """The room's entries of those ids, withdrawn ones too, in the order in which they came."""
    named = col(EntryRow.uid).in_(list(uids))
    query = select(EntryRow).where(EntryRow.room_id == room_id, named).order_by(col(EntryRow.id))
    return session.exec(query).all()
