"""Keeping the books of things in step with the log."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import islice

from sqlalchemy import delete, insert
from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.services.entries import START, Place, place_of
from app.services.folding import (
    Named,
    Run,
    drop_after,
    head,
    keep,
    last_before,
    rest_of_book,
    rewound,
)
from app.store.tables import EntryRow, LinkRow, ThingCheckpointRow, ThingRow

Progress = Callable[[str, int, int], None]
SOME = 400


def refresh_things(
    session: Session, room_id: int, entries: Sequence[Entry], progress: Progress | None = None
) -> None:
    """Take new entries into the books of the things they name.

    A thing takes an entry behind its last one as one step; a late, corrected or withdrawn one has
    it folded anew from the last state that was kept before it, so that the result is the one of
    the right order.
    """
    by_uid = {entry.id: entry for entry in entries if entry.things()}
    rows = link_things(session, room_id, entries)
    stale = _first_places_of_targets(session, room_id, entries)
    news: dict[Named, list[tuple[Place, Entry]]] = {}
    for row in rows:
        for named in by_uid[row.uid].things():
            if named[0] in THINGS:
                news.setdefault(named, []).append((place_of(row), by_uid[row.uid]))
    touched = list(news.keys() | stale.keys())
    for done, named in enumerate(sorted(touched)):
        _refresh(session, room_id, named, news.get(named, []), stale.get(named))
        if progress is not None and done % 200 == 0:
            progress("Keeping the books", done, len(touched))


def link_things(session: Session, room_id: int, entries: Sequence[Entry]) -> list[EntryRow]:
    """Put new entries into the books of the things they name; their rows are given back."""
    by_uid = {entry.id: entry for entry in entries if entry.things()}
    rows = list(_rows_of(session, room_id, by_uid))
    _link(session, room_id, rows, by_uid)
    return rows


def first_places(
    session: Session, room_id: int, after_id: int, entries: Iterable[Entry]
) -> dict[Named, Place]:
    """The things that the room's entries behind a number touch, each with the first place.

    `entries` are those of them that correct or withdraw others.
    """
    found = _first_places_of_targets(session, room_id, entries)
    columns = (LinkRow.thing, LinkRow.key, LinkRow.moment_us, LinkRow.rank, LinkRow.sequence)
    query = select(*columns).where(LinkRow.room_id == room_id, LinkRow.entry_id > after_id)  # type: ignore[call-overload]
    for row in session.exec(query):
        if row.thing in THINGS:
            named = row.thing, row.key
            found[named] = min(found.get(named, place_of(row)), place_of(row))
    return found


@dataclass
class Folded:
    """A thing's book, folded from a kept state on, and not stored yet."""

    run: Run
    start: Place

    def store(self, session: Session) -> None:
        """Store it, in the place of what was folded before."""
        drop_after(session, self.run, self.start)
        keep(session, self.run)


def folded(session: Session, room_id: int, named: Named, place: Place) -> Folded:
    """The book of a thing folded anew from a place on; nothing is stored."""
    run = last_before(session, room_id, named, place)
    start = run.place
    run.take(rest_of_book(session, run))
    return Folded(run, start)


def rebuild_things(session: Session, room_id: int) -> None:
    """Fold everything anew from the log."""
    for table in (ThingRow, ThingCheckpointRow):
        session.execute(delete(table).where(col(table.room_id) == room_id))
    named = select(LinkRow.thing, LinkRow.key).where(LinkRow.room_id == room_id).distinct()
    for thing, key in session.exec(named).all():
        if thing in THINGS:
            refold(session, room_id, (thing, key), START)


def _refresh(
    session: Session,
    room_id: int,
    named: Named,
    news: list[tuple[Place, Entry]],
    stale_from: Place | None,
) -> None:
    """Bring one thing up to date with its new entries, and with what no longer counts from a place.

    Of a thing that was corrected the whole stretch is read anew: what is new may be void already.
    """
    news.sort(key=lambda item: item[0])
    first = min([place for place, _ in news] + ([] if stale_from is None else [stale_from]))
    run = head(session, room_id, named)
    if stale_from is not None or first <= run.place:
        refold(session, room_id, named, first)
    else:
        run.take(news)
        keep(session, run)


def refold(session: Session, room_id: int, named: Named, place: Place) -> None:
    """Fold a thing anew from the last state kept before a place."""
    run = rewound(session, room_id, named, place)
    run.take(rest_of_book(session, run))
    keep(session, run)


def _rows_of(session: Session, room_id: int, uids: Iterable[str]) -> Iterator[EntryRow]:
    wanted = iter(uids)
    while some := list(islice(wanted, SOME)):
        query = select(EntryRow).where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))
        yield from session.exec(query)


def _link(
    session: Session, room_id: int, rows: Iterable[EntryRow], by_uid: dict[str, Entry]
) -> None:
    links = [
        {
            "entry_id": row.id, "thing": thing, "key": key, "room_id": room_id,
            "moment_us": row.moment_us, "rank": row.rank, "sequence": row.sequence,
        }
        for row in rows
        for thing, key in by_uid[row.uid].things()
    ]  # fmt: skip
    if links:
        session.execute(insert(LinkRow), links)


def _first_places_of_targets(
    session: Session, room_id: int, entries: Iterable[Entry]
) -> dict[Named, Place]:
    """The things in whose books corrected or withdrawn entries stand, with the first place."""
    targets = (
        target
        for entry in entries
        if (target := entry.withdraws if isinstance(entry, Withdrawal) else entry.corrects)
    )
    columns = (LinkRow.thing, LinkRow.key, LinkRow.moment_us, LinkRow.rank, LinkRow.sequence)
    found: dict[Named, Place] = {}
    while some := list(islice(targets, SOME)):
        query = (
            select(*columns)  # type: ignore[call-overload]
            .join(EntryRow, col(EntryRow.id) == col(LinkRow.entry_id))
            .where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))
        )
        for row in session.exec(query):
            named = row.thing, row.key
            if row.thing in THINGS:
                found[named] = min(found.get(named, place_of(row)), place_of(row))
    return found
