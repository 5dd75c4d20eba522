"""The one driver of projections: whatever is worked out from the log is kept in step here.

A fold (domain/folds) says what an entry does to a state. The driver keeps the state after the last
entry, and earlier ones, closer together the younger they are. A new entry behind the last one is
one step; a late, corrected or withdrawn one has the fold start again from the last state before it.
So what is kept is what the order of truth gives, whatever the order of arrival.
"""

import math
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import islice
from typing import Any, Generic, Protocol, TypeVar

from sqlmodel import Session

from app.domain.folds import Fold, Key, State, is_to_be_kept
from app.services.changes import Changes, Progress, Told
from app.services.entries import START, Place, place_of
from app.services.fold_states import Mark, States, written_now
from app.store.engine import Store
from app.store.tables import RoomRow

PAGE = 500  # entries taken in between two words on how far it is
Out = TypeVar("Out")
Out_contra = TypeVar("Out_contra", contravariant=True)


class Source(Protocol):
    """Where the entries that a fold takes are found."""

    def after(self, session: Session, room_id: int, key: Key, place: Place) -> Iterator[Told]:
        """Those that count behind a place, in the order of truth."""

    def count(self, session: Session, room_id: int, key: Key, place: Place) -> int:
        """About how many they are."""

    def keys(self, session: Session, room_id: int, kinds: Collection[str]) -> Iterable[Key]:
        """All states of some kinds that entries may concern."""


class Rows(Protocol[Out_contra]):
    """What entries did, kept beside the states."""

    def take(self, told: Told, outs: Sequence[Out_contra]) -> None:
        """Take down what an entry did."""

    def drop_after(self, session: Session, place: Place) -> None:
        """Drop what was taken down behind a place."""

    def put_down(self, session: Session) -> None:
        """Store what was taken down so far."""


@dataclass
class Run(Generic[State]):
    """A state on its way through the log, where it stands, how many entries it took.

    Attributes:
        marks: states on the way that are to be kept; `marked`: entries at the last of them.
        writer: the transaction that stored it, where several programs write.
    """

    key: Key
    state: State
    place: Place = START
    entries: int = 0
    marked: int = 0
    marks: list[Mark] = field(default_factory=list)
    writer: str = ""


@dataclass
class Touched:
    """What a write changes of one state: the first place, and what comes new.

    Attributes:
        is_gone: something no longer counts; what is new is found in the log with the rest.
    """

    first: Place
    news: list[Told] = field(default_factory=list)
    is_gone: bool = False


@dataclass(frozen=True)
class Kept(Generic[State, Out]):
    """A fold with the places of its entries and its states.

    Attributes:
        doing: what people are told while it takes long.
        more: what else stands in the row of a last state.
        farthest: entries between two states kept on the way at most: where states of long ago are
            read, not only late entries taken in.
        held: last states kept in memory between writes, by room; None where they are read.
        as_told: what entries become before the fold takes them: by what other entries, told later,
            say of the same.
    """

    doing: str
    fold: Fold[State, Out]
    states: States
    source: Source
    more: Callable[[Key, State], Mapping[str, Any]] = lambda *_: {}
    farthest: float = math.inf
    held: dict[int, Any] | None = None
    as_told: Callable[[Session, int, Iterable[Told]], Iterable[Told]] = lambda _s, _r, told: told

    def touched(self, changes: Changes) -> dict[Key, Touched]:
        """The states that changes touch."""
        found: dict[Key, Touched] = {}
        for some, is_gone in ((changes.news, False), (changes.gone, True)):
            for told in some:
                for key in self.fold.concerns(told.entry):
                    own = found.setdefault(key, Touched(told.place))
                    own.first = min(own.first, told.place)
                    own.is_gone |= is_gone
                    if not is_gone:
                        own.news.append(told)
        return found

    def begun(self, key: Key) -> Run[State]:
        """The run before the first entry."""
        return Run(key, self.fold.empty(key))

    def head(self, session: Session, room_id: int, key: Key) -> Run[State]:
        """The run after the last entry; taken from memory where that is still the newest."""
        writer = ""
        if self.held is not None:
            kept = self.held.pop(room_id, None)
            found = self.states.head_place(session, room_id, key)
            if found is None:
                return self.begun(key)
            if isinstance(kept, Run) and (kept.place, kept.entries, kept.writer) == found:
                return kept
            writer = found[2]
        row = self.states.head(session, room_id, key)
        if row is None:
            return self.begun(key)
        return Run(key, self.fold.load(key, row.state), place_of(row), row.entries, writer=writer)

    def last_before(self, session: Session, room_id: int, key: Key, place: Place) -> Run[State]:
        """The run at the last kept state before a place."""
        mark = self.states.last_before(session, room_id, key, place)
        if mark is None:
            return self.begun(key)
        return Run(key, self.fold.load(key, mark.kept), mark.place, mark.entries, mark.entries)

    def take(
        self, run: Run[State], told: Iterable[Told], left: int = 0, rows: Rows[Out] | None = None
    ) -> None:
        """Take in entries, about `left` of them, given in the order of truth."""
        take = self.fold.take
        for one in told:
            run.state, outs = take(run.key, run.state, one.entry)
            run.place, run.entries, left = one.place, run.entries + 1, left - 1
            if rows is not None:
                rows.take(one, outs)
            if is_to_be_kept(run.entries, run.marked, left, self.farthest):
                run.marks.append(self.mark(run))
                run.marked = run.entries

    def mark(self, run: Run[State]) -> Mark:
        """A run's state as it is kept."""
        return Mark(run.entries, run.place, self.fold.dump(run.key, run.state))

    def refold(
        self, session: Session, room_id: int, key: Key, place: Place,
        rows: Rows[Out] | None = None, progress: Progress | None = None,
    ) -> Run[State]:  # fmt: skip
        """Fold a state anew from the last one kept before a place."""
        run = self.last_before(session, room_id, key, place)
        self.states.drop_after(session, room_id, key, run.place)
        if rows is not None:
            rows.drop_after(session, run.place)
        left = self.source.count(session, room_id, key, run.place)
        told = self.source.after(session, room_id, key, run.place)
        self._follow(session, room_id, run, told, left, rows, progress)
        return run

    def move(
        self, session: Session, room_id: int, key: Key, touched: Touched,
        rows: Rows[Out] | None = None, progress: Progress | None = None,
    ) -> Run[State]:  # fmt: skip
        """Bring a state up to a write."""
        run = self.head(session, room_id, key)
        if touched.is_gone or touched.first <= run.place:
            return self.refold(session, room_id, key, touched.first, rows, progress)
        news = sorted(touched.news, key=lambda one: one.place)
        self._follow(session, room_id, run, news, len(news), rows, progress)
        return run

    def _follow(
        self, session: Session, room_id: int, run: Run[State], told: Iterable[Told], left: int,
        rows: Rows[Out] | None, progress: Progress | None,
    ) -> None:  # fmt: skip
        """Take entries in, a page at a time, and store what comes of it."""
        wanted, done = iter(self.as_told(session, room_id, told)), 0
        while page := list(islice(wanted, PAGE)):
            self.take(run, page, left - done, rows)
            if rows is not None:
                rows.put_down(session)
            done += len(page)
            if progress is not None:
                progress(self.doing, done, left)
        self.keep(session, room_id, run, rows)

    def keep(
        self, session: Session, room_id: int, run: Run[State], rows: Rows[Out] | None = None
    ) -> None:
        """Store a run as the last state; where no entry counts there is none."""
        if rows is not None:
            rows.put_down(session)
        self.keep_marks(session, room_id, run)
        if run.entries == 0:
            self.states.drop_head(session, room_id, run.key)
            return
        more = self.more(run.key, run.state)
        self.states.put_head(session, room_id, run.key, self.mark(run), more)
        if self.held is not None:
            run.writer = written_now(session)
            self.held[room_id] = run

    def keep_marks(self, session: Session, room_id: int, run: Run[State]) -> None:
        """Store the states on the way that have come up."""
        if run.marks:
            self.states.put_marks(session, room_id, run.key, run.marks, run.entries, self.farthest)
            run.marks.clear()

    def rebuild(
        self, session: Session, room_id: int, kinds: Collection[str],
        rows: Rows[Out] | None = None, progress: Progress | None = None,
    ) -> None:  # fmt: skip
        """Fold all states of some kinds anew from the log."""
        self.states.clear(session, room_id, kinds)
        if self.held is not None:
            self.held.pop(room_id, None)
        session.expire_all()
        for key in self.source.keys(session, room_id, kinds):
            self.refold(session, room_id, key, START, rows, progress)


@dataclass(frozen=True)
class Write:
    """What projections are told of a write, within its transaction.

    Attributes:
        changes: what was entered, and what no longer counts.
        rest: those of them that books have not taken in yet (rules read books between entries).
        waiting: names of projections that follow later.
    """

    session: Session
    store: Store
    room: RoomRow
    now: datetime
    changes: Changes
    rest: Changes
    waiting: frozenset[str] = frozenset()
    progress: Progress | None = None

    @property
    def room_id(self) -> int:
        assert self.room.id is not None
        return self.room.id


class Projection(Protocol):
    """What is kept of a room, and moved on at each write.

    Attributes:
        needs: projections that it reads; it comes behind them.
    """

    @property
    def name(self) -> str: ...

    @property
    def needs(self) -> tuple[str, ...]: ...

    def versions(self, room: RoomRow) -> Mapping[str, str]:
        """By kind, which version of it is kept of a room."""

    def move(self, write: Write) -> None:
        """Bring it up to a write."""

    def rebuild(
        self, session: Session, store: Store, room: RoomRow, kinds: Collection[str],
        now: datetime, progress: Progress | None,
    ) -> None:  # fmt: skip
        """Work some kinds of it out anew from the log."""
