"""The books of things, kept by the driver: each thing is a state, moved by whatever names it."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, ClassVar

from sqlalchemy import func, insert
from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.domain.folds import Key
from app.domain.roomlog.kinds import Entry
from app.services.changes import Changes, Progress, Told, changes_of
from app.services.entries import Place, after, before, entry_of, place_of
from app.services.fold_states import States
from app.services.projecting import Kept, Write
from app.store.engine import Store
from app.store.tables import EntryRow, LinkRow, RoomRow, ThingCheckpointRow, ThingRow
from app.store.things import adapter

FARTHEST = 400
"""Entries between two kept states of a thing: the record of a part lot of years ago asks what its
station was then, and folds that many at most."""


class BookFold:
    """All things of a room, each a state by its kind and key.

    Its states become JSON by the library that pages read them with, which the domain may not know;
    what an entry does to a state is the domain's alone.
    """

    name: ClassVar[str] = "books"

    @property
    def versions(self) -> Mapping[str, str]:
        """Each kind of thing has its own."""
        return {name: str(thing.version) for name, thing in THINGS.items()}

    def concerns(self, entry: Entry) -> Iterable[Key]:
        """The things that an entry names."""
        return (named for named in entry.things() if named[0] in THINGS)

    def empty(self, key: Key) -> Any:
        """A thing that nothing is known of."""
        return THINGS[key[0]].start(key[1])

    def take(self, key: Key, state: Any, entry: Entry) -> tuple[Any, Sequence[Any]]:
        """The thing after an entry."""
        return THINGS[key[0]].apply(state, entry), ()

    def dump(self, key: Key, state: Any) -> str:
        """JSON."""
        return adapter(key[0]).dump_json(state).decode()

    def load(self, key: Key, kept: bytes | str) -> Any:
        """The state of `dump`."""
        return adapter(key[0]).validate_json(kept)


class _Links:
    """Entries by the things that they name."""

    def after(self, session: Session, room_id: int, key: Key, place: Place) -> Iterator[Told]:
        return _told(session, room_id, key, after(LinkRow, place))

    def count(self, session: Session, room_id: int, key: Key, place: Place) -> int:
        query = select(func.count()).select_from(LinkRow)
        return session.exec(query.where(*_of(room_id, key), after(LinkRow, place))).one()

    def keys(self, session: Session, room_id: int, kinds: Collection[str]) -> Iterable[Key]:
        query = select(LinkRow.thing, LinkRow.key).where(
            LinkRow.room_id == room_id, col(LinkRow.thing).in_(kinds)
        )
        return [(thing, key) for thing, key in session.exec(query.distinct()).all()]


def _told(session: Session, room_id: int, key: Key, *which: Any) -> Iterator[Told]:
    """Entries that count and name a thing, in the order of truth."""
    table = EntryRow.__table__  # type: ignore[attr-defined]
    query = (
        table.select()
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(*_of(room_id, key), *which, col(EntryRow.voided_by).is_(None))
        .order_by(col(LinkRow.moment_us), col(LinkRow.rank), col(LinkRow.sequence))
    )
    for row in session.execute(query):
        yield Told(place_of(row), entry_of(row), row.id)


def _of(room_id: int, key: Key) -> tuple[Any, Any, Any]:
    return LinkRow.room_id == room_id, LinkRow.thing == key[0], LinkRow.key == key[1]


BOOKS: Kept[Any, Any] = Kept(
    "Keeping the books",
    BookFold(),
    States(ThingRow, ThingCheckpointRow, ("thing", "key")),
    _Links(),
    more=lambda key, state: {"is_open": THINGS[key[0]].is_open(state)},
    farthest=FARTHEST,
)


def state_before(session: Session, room_id: int, key: Key, place: Place) -> Any:
    """A thing as the entries before a place leave it.

    What comes behind the place is not read: a statement hands over all its rows at once, which of
    a book of ten thousands of cures takes seconds.
    """
    run = BOOKS.last_before(session, room_id, key, place)
    for told in _told(session, room_id, key, after(LinkRow, run.place), before(LinkRow, place)):
        run.state, _ = BOOKS.fold.take(key, run.state, told.entry)
    return run.state


def keep_books(
    session: Session, room_id: int, changes: Changes, progress: Progress | None = None
) -> None:
    """Put new entries into the books of the things they name, and bring these up to them."""
    link(session, room_id, changes)
    touched = sorted(BOOKS.touched(changes).items())
    for done, (key, own) in enumerate(touched):
        BOOKS.move(session, room_id, key, own)
        if progress is not None and done % 200 == 0:
            progress("Keeping the books", done, len(touched))


def refresh_books(session: Session, room_id: int, entries: Sequence[Entry]) -> None:
    """Bring books up to entries that were just appended, before others are held against them."""
    keep_books(session, room_id, changes_of(session, room_id, entries))


def link(session: Session, room_id: int, changes: Changes) -> None:
    """Put new entries into the books of the things they name."""
    links = [
        {
            "entry_id": told.id, "thing": thing, "key": key, "room_id": room_id,
            **vars(told.place),
        }
        for told in (*changes.news, *changes.void)
        for thing, key in told.entry.things()
    ]  # fmt: skip
    if links:
        session.execute(insert(LinkRow), links)


def first_places(
    session: Session, room_id: int, after_id: int, gone: Iterable[Told]
) -> dict[Key, Place]:
    """The things that the room's entries behind a number touch, each with the first place.

    `gone` are the entries that they replace or take back.
    """
    touched = BOOKS.touched(Changes(gone=list(gone)))
    found = {key: own.first for key, own in touched.items()}
    columns = (LinkRow.thing, LinkRow.key, LinkRow.moment_us, LinkRow.rank, LinkRow.sequence)
    query = select(*columns).where(LinkRow.room_id == room_id, LinkRow.entry_id > after_id)  # type: ignore[call-overload]
    for row in session.exec(query):
        if row.thing in THINGS:
            named = row.thing, row.key
            found[named] = min(found.get(named, place_of(row)), place_of(row))
    return found


@dataclass(frozen=True)
class Books:
    """The books of a room, as one projection."""

    name: ClassVar[str] = "books"
    needs: ClassVar[tuple[str, ...]] = ()

    def versions(self, _room: RoomRow) -> Mapping[str, str]:
        """Each kind of thing has its own."""
        return BOOKS.fold.versions

    def move(self, write: Write) -> None:
        """Bring the books up to a write."""
        keep_books(write.session, write.room_id, write.rest, write.progress)

    def rebuild(
        self, session: Session, _store: Store, room: RoomRow, kinds: Collection[str],
        _now: datetime, progress: Progress | None,
    ) -> None:  # fmt: skip
        """Fold the books of some kinds of things anew from the log."""
        assert room.id is not None
        BOOKS.rebuild(session, room.id, kinds, progress=progress)
