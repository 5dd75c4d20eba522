"""Keeping the books of things in step with the log."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import islice

from sqlalchemy import delete, insert
from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.things import Thing
from app.services.entries import Place, entry_of, place_of
from app.store.tables import EntryRow, LinkRow, ThingRow
from app.store.things import adapter

Progress = Callable[[str, int, int], None]
Named = tuple[str, str]
SOME = 400


def refresh_things(
    session: Session, room_id: int, entries: Sequence[Entry], progress: Progress | None = None
) -> None:
    """Take new entries into the books of the things they name.

    A thing takes an entry behind its last one as one step; a late, corrected or withdrawn one has
    it folded anew from its book, so that the result is the one of the right order.
    """
    by_uid = {entry.id: entry for entry in entries if entry.things()}
    rows = list(_rows_of(session, room_id, by_uid))
    _link(session, room_id, rows, by_uid)
    stale = _things_of_targets(session, room_id, entries)
    news: dict[Named, list[tuple[Place, Entry]]] = {}
    for row in rows:
        for named in by_uid[row.uid].things():
            if named[0] in THINGS:
                news.setdefault(named, []).append((place_of(row), by_uid[row.uid]))
    touched = list(news.keys() | stale)
    for done, named in enumerate(sorted(touched)):
        if named in stale or not _step(session, room_id, named, news[named]):
            _fold(session, room_id, named)
        if progress is not None and done % 200 == 0:
            progress("Keeping the books", done, len(touched))


def rebuild_things(session: Session, room_id: int) -> None:
    """Fold everything anew from the log."""
    session.execute(delete(ThingRow).where(col(ThingRow.room_id) == room_id))
    named = select(LinkRow.thing, LinkRow.key).where(LinkRow.room_id == room_id).distinct()
    for thing, key in session.exec(named).all():
        if thing in THINGS:
            _fold(session, room_id, (thing, key))


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


def _things_of_targets(session: Session, room_id: int, entries: Iterable[Entry]) -> set[Named]:
    """The things in whose books a corrected or withdrawn entry stands."""
    targets = (
        target
        for entry in entries
        if (target := entry.withdraws if isinstance(entry, Withdrawal) else entry.corrects)
    )
    found: set[Named] = set()
    while some := list(islice(targets, SOME)):
        query = (
            select(LinkRow.thing, LinkRow.key)
            .join(EntryRow, col(EntryRow.id) == col(LinkRow.entry_id))
            .where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))
        )
        found.update((thing, key) for thing, key in session.exec(query) if thing in THINGS)
    return found


def _step(session: Session, room_id: int, named: Named, news: list[tuple[Place, Entry]]) -> bool:
    """Move a thing on by its new entries; False where one lies before its last."""
    thing = THINGS[named[0]]
    row = session.get(ThingRow, (room_id, *named))
    news = sorted(news, key=lambda item: item[0])
    if row is not None and news[0][0] <= place_of(row):
        return False
    state = thing.start(named[1]) if row is None else adapter(thing.name).validate_json(row.state)
    for _, entry in news:
        state = thing.apply(state, entry)
    _keep(session, room_id, thing, named[1], news[-1][0], state)
    return True


def _fold(session: Session, room_id: int, named: Named) -> None:
    thing, key = THINGS[named[0]], named[1]
    query = (
        select(EntryRow)
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(
            LinkRow.room_id == room_id, LinkRow.thing == thing.name, LinkRow.key == key,
            col(EntryRow.voided_by).is_(None),
        )
        .order_by(col(LinkRow.moment_us), col(LinkRow.rank), col(LinkRow.sequence))
    )  # fmt: skip
    state, place = thing.start(key), None
    for row in session.exec(query):
        state, place = thing.apply(state, entry_of(row)), place_of(row)
    if place is None:
        old = session.get(ThingRow, (room_id, *named))
        if old is not None:
            session.delete(old)
            session.flush()
        return
    _keep(session, room_id, thing, key, place, state)


def _keep(
    session: Session, room_id: int, thing: Thing, key: str, place: Place, state: object
) -> None:
    session.merge(
        ThingRow(
            room_id=room_id, thing=thing.name, key=key, is_open=thing.is_open(state),
            moment_us=place.moment_us, rank=place.rank, sequence=place.sequence,
            state=adapter(thing.name).dump_json(state).decode(),
        )
    )  # fmt: skip
    session.flush()
