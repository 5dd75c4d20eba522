"""The book of litres, kept by the driver: each act is posted as it is entered."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cache
from typing import Any, ClassVar

from pydantic import TypeAdapter
from sqlalchemy import delete, insert
from sqlmodel import Session

from app.domain.folds import Key
from app.domain.litres.posting import POSTINGS, post
from app.domain.litres.state import LitresState, Posting
from app.domain.roomlog.kinds import Entry
from app.services.changes import Progress, Told
from app.services.entries import (
    Place,
    after,
    count_after,
    counting_after,
    entry_of,
    place_of,
)
from app.services.fold_states import States
from app.services.litres.told_late import as_told_by_now
from app.services.projecting import Kept, Write
from app.store.engine import Store
from app.store.litres_tables import LitresHeadRow, LitresMarkRow, LitresPostingRow
from app.store.tables import RoomRow

LITRES: Key = ("", "")
"""The one state: a litre goes from any account to any other."""
VERSION = "4"
"""Another one where the state looks otherwise, or acts are posted otherwise."""
KINDS = sorted(kind.kind for kind in POSTINGS)
POSTED: Any = LitresPostingRow.__table__  # type: ignore[attr-defined]


@cache
def _adapter() -> TypeAdapter[LitresState]:
    return TypeAdapter(LitresState)


class LitresFold:
    """The book of a room as a fold; its state becomes JSON by the library that pages read with."""

    name: ClassVar[str] = "litres"
    versions: ClassVar[Mapping[str, str]] = {"": VERSION}

    def concerns(self, entry: Entry) -> Iterable[Key]:
        """All that is posted."""
        return (LITRES,) if type(entry) in POSTINGS else ()

    def empty(self, _key: Key) -> LitresState:
        """A book in which nothing was posted."""
        return LitresState()

    def take(
        self, _key: Key, state: LitresState, entry: Entry
    ) -> tuple[LitresState, Sequence[Posting]]:
        """The book after an entry; it is moved on in place."""
        return post(state, entry)

    def dump(self, _key: Key, state: LitresState) -> str:
        """JSON."""
        return _adapter().dump_json(state).decode()

    def load(self, _key: Key, kept: bytes | str) -> LitresState:
        """The state of `dump`."""
        return _adapter().validate_json(kept)


class _Acts:
    """The entries that are posted."""

    def after(self, session: Session, room_id: int, _key: Key, place: Place) -> Iterator[Told]:
        for row in counting_after(session, room_id, place, kinds=KINDS):
            yield Told(place_of(row), entry_of(row), row.id)

    def count(self, session: Session, room_id: int, _key: Key, place: Place) -> int:
        return count_after(session, room_id, place, KINDS)

    def keys(self, _session: Session, _room_id: int, _kinds: Collection[str]) -> Iterable[Key]:
        return (LITRES,)


BOOK: Kept[LitresState, Posting] = Kept(
    "Posting litres",
    LitresFold(),
    States(LitresHeadRow, LitresMarkRow),
    _Acts(),
    as_told=as_told_by_now,
)


@dataclass
class Postings:
    """What the entries of a stretch posted, on its way to the table."""

    room_id: int
    rows: list[dict[str, Any]] = field(default_factory=list)

    def take(self, told: Told, outs: Sequence[Posting]) -> None:
        """Take down what an entry posted."""
        self.rows += [
            posting_row(self.room_id, told.id, told.place, line, one)
            for line, one in enumerate(outs)
        ]

    def drop_after(self, session: Session, place: Place) -> None:
        """Drop what was posted behind a place."""
        behind = POSTED.c.room_id == self.room_id, after(LitresPostingRow, place)
        session.execute(delete(POSTED).where(*behind))

    def put_down(self, session: Session) -> None:
        """Store what was taken down so far."""
        if self.rows:
            session.execute(insert(POSTED), self.rows)
            self.rows.clear()


def posting_row(
    room_id: int, entry_id: int, place: Place, line: int, one: Posting
) -> dict[str, Any]:
    """What is stored of a posting."""
    return {
        "room_id": room_id, "entry_id": entry_id, **vars(place), "line": line,
        "source": one.source, "target": one.target, "amount_ul": one.amount_ul, "why": one.why,
    }  # fmt: skip


def post_anew(session: Session, room_id: int, progress: Progress | None = None) -> None:
    """Post a room's whole book from its log."""
    postings = Postings(room_id)
    session.execute(delete(POSTED).where(POSTED.c.room_id == room_id))
    BOOK.rebuild(session, room_id, ("",), postings, progress)


class Litres:
    """The book of litres of a room, as one projection."""

    name: ClassVar[str] = "litres"
    needs: ClassVar[tuple[str, ...]] = ()

    def versions(self, _room: RoomRow) -> Mapping[str, str]:
        """That of the book."""
        return LitresFold.versions

    def move(self, write: Write) -> None:
        """Post what a write enters, and anew what lies behind what it changes."""
        touched = BOOK.touched(write.changes).get(LITRES)
        if touched is None or self.name in write.waiting:
            return
        postings = Postings(write.room_id)
        BOOK.move(write.session, write.room_id, LITRES, touched, postings, write.progress)

    def rebuild(
        self, session: Session, _store: Store, room: RoomRow, _kinds: Collection[str],
        _now: datetime, progress: Progress | None,
    ) -> None:  # fmt: skip
        """Post the book anew from the log."""
        assert room.id is not None
        post_anew(session, room.id, progress)
