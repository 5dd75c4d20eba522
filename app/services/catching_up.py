"""Bringing a room's figures up to what was stored, a slice at a time.

What takes long is worked out while nobody is kept waiting: entries are read and estimated outside
of a write, and each slice of results is a write of its own, so that others write in between. What
they enter meanwhile is taken in as well. A run that breaks off is gone on with from where it was.
"""

import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from itertools import islice
from typing import Any

from sqlalchemy import or_
from sqlmodel import Session, col, select

from app.domain.baths.estimator import Effect, RoomFilter
from app.domain.baths.fold import BATHS
from app.domain.errors import Conflict
from app.domain.folds import Key
from app.domain.roomlog.kinds import Withdrawal
from app.services.backlog import last_entry_id, late_place, set_late
from app.services.baths.board import define_tanks, refresh_tanks
from app.services.baths.states import Course, baths_of, head, hold, told_after
from app.services.books import BOOKS, first_places
from app.services.changes import Progress, Told, target_of, told_of
from app.services.definitions import define_resins
from app.services.entries import Place, count_after, entry_of, place_of
from app.services.gently import gently
from app.services.litres.keeping import post_anew
from app.services.projecting import Kept, Run
from app.services.rooms import find_room
from app.services.spend.shadow_tables import keep_costs
from app.services.transaction import write_in_turn
from app.store.across import on_one_server, tell_now
from app.store.engine import Store
from app.store.import_tables import BehindRow
from app.store.instants import to_us
from app.store.sessions import reading
from app.store.tables import EntryRow, RoomRow, TankRow

SLICE = 500  # entries estimated between two writes
TANKS_AT_ONCE = 2  # a forecast takes longer than a wash
THINGS_AT_ONCE = 20
ANNOUNCE_EVERY = 16  # slices; open pages read anew each time
ABANDONED_AFTER = timedelta(seconds=30)

Clock = Callable[[], datetime]


class TakenOver(Conflict):
    """Another run goes on with it."""


@dataclass
class Work:
    """Catching up in one room.

    Attributes:
        owner: the run that does it, as it is noted in the room.
        slices: how many were written.
    """

    store: Store
    room: str
    owner: str
    clock: Clock
    progress: Progress | None = None
    slices: int = field(default=0, init=False)

    def tell(self, phase: str, done: int, total: int) -> None:
        """Tell how far it is, to whoever waits for it and, now and then, to open pages."""
        self.slices += 1
        if self.progress is not None:
            self.progress(phase, done, total)
        if self.slices % ANNOUNCE_EVERY == 0:
            tell_now(self.store, self.room)

    def own(self, session: Session) -> tuple[RoomRow, BehindRow]:
        """The room, held against other writers, and what it waits for.

        Raises:
            TakenOver: another run goes on, or it is done.
        """
        found = find_room(session, self.room)
        query = select(RoomRow).where(RoomRow.id == found.id).with_for_update()
        room = session.exec(query.execution_options(populate_existing=True)).one()
        behind = session.get(BehindRow, room.id, populate_existing=True)
        if behind is None or behind.owner != self.owner:
            raise TakenOver("Another run is already doing this.")
        behind.touched_at_us = to_us(self.clock())
        return room, behind


def new_owner() -> str:
    """A name for a run."""
    return secrets.token_hex(16)


def catch_up(work: Work) -> None:
    """Bring books, estimates, forecasts and costs of a room up to what is stored.

    Raises:
        TakenOver: another run goes on with it.
    """
    _keep_books(work)
    while not _estimate(work):
        pass  # something came in before the place where this run was: from there again
    _refresh_tanks(work)
    keep_costs(work.store, work.room, work.own, work.tell)


def catch_up_abandoned(store: Store, clock: Clock, progress: Progress | None = None) -> list[str]:
    """Go on where nobody does any more: a program ended in the middle. The rooms are given back."""
    with on_one_server(store, "catching up") as is_mine:
        return _catch_up_abandoned(store, clock, progress) if is_mine else []


def _catch_up_abandoned(store: Store, clock: Clock, progress: Progress | None) -> list[str]:
    done = []
    for room in _abandoned(store, clock()):
        owner = new_owner()
        with write_in_turn(store) as session:
            fall_behind_again(session, find_room(session, room), owner, clock())
        try:
            with gently():
                catch_up(Work(store, room, owner, clock, progress))
        except TakenOver:
            continue
        done.append(room)
    return done


def fall_behind_again(session: Session, room: RoomRow, owner: str, now: datetime) -> None:
    """Take over the catching up of a room, where anything is left to do."""
    row = session.get(BehindRow, room.id, populate_existing=True)
    if row is not None:
        row.owner, row.touched_at_us = owner, to_us(now)


def _abandoned(store: Store, now: datetime) -> list[str]:
    with reading(store) as session:
        query = (
            select(RoomRow.key)
            .join(BehindRow, col(BehindRow.room_id) == col(RoomRow.id))
            .where(BehindRow.touched_at_us < to_us(now - ABANDONED_AFTER))
        )
        return list(session.exec(query))


def _keep_books(work: Work) -> None:
    """Fold the books of the things that new entries name, some at a time, before they are stored.

    What was entered in the meantime is taken in when they are.
    """
    with reading(work.store) as session:
        room = find_room(session, work.room)
        behind = session.get(BehindRow, room.id)
        if behind is None or room.id is None:
            raise TakenOver("Another run is already doing this.")
        room_id = room.id
        touched = sorted(_touched(session, room_id, behind.entry_id).items())
    for start in range(0, len(touched), THINGS_AT_ONCE):
        with reading(work.store) as session:
            seen = last_entry_id(session)
            some = [_folded(session, room_id, *one) for one in touched[start:][:THINGS_AT_ONCE]]
        with write_in_turn(work.store) as session:
            work.own(session)
            news = _touched(session, room_id, seen)
            for run, start_place in some:
                BOOKS.states.drop_after(session, room_id, run.key, start_place)
                BOOKS.keep(session, room_id, run)
                if (place := news.get(run.key)) is not None:
                    BOOKS.refold(session, room_id, run.key, place)
        work.tell("Keeping the books", start, len(touched))


def _folded(session: Session, room_id: int, key: Key, place: Place) -> tuple[Run[Any], Place]:
    """The book of a thing folded anew from a place on, and from where; nothing is stored."""
    run = BOOKS.last_before(session, room_id, key, place)
    start = run.place
    left = BOOKS.source.count(session, room_id, key, start)
    BOOKS.take(run, BOOKS.source.after(session, room_id, key, start), left)
    return run, start


def _touched(session: Session, room_id: int, after_id: int) -> dict[Key, Place]:
    """The things that the room's entries behind a number touch, each with the first place."""
    query = select(EntryRow).where(
        EntryRow.room_id == room_id, col(EntryRow.id) > after_id,
        or_(col(EntryRow.corrects).is_not(None), col(EntryRow.kind) == Withdrawal.kind),
    )  # fmt: skip
    targets = [target_of(entry_of(row)) for row in session.exec(query)]
    return first_places(session, room_id, after_id, told_of(session, room_id, targets))


def _estimate(work: Work) -> bool:
    """Follow the log from the first place that may be wrong; False where one before it came up."""
    with write_in_turn(work.store) as session:
        room, behind = work.own(session)
        assert room.id is not None
        if behind.is_estimated:
            return True
        run = _begun(session, work, room, behind)
        behind.done, behind.total = 0, count_after(session, room.id, run.place)
        total = behind.total
        baths = baths_of(room, work.store)
        baths.states.drop_after(session, room.id, BATHS, run.place)
        room_id = room.id
    following = _Following(work, room_id, baths, run, total)
    while (outcome := following.go_on()) is None:
        pass
    return outcome


def _begun(session: Session, work: Work, room: RoomRow, behind: BehindRow) -> Run[RoomFilter]:
    """The run to go on from; what was touched before it is looked at with that."""
    place, late = place_of(behind), late_place(behind)
    assert room.id is not None
    baths = baths_of(room, work.store)
    last = baths.states.head_place(session, room.id, BATHS)
    if last is not None and last[0] == place and (late is None or late > place):
        set_late(behind, None)
        return baths.head(session, room.id, BATHS)
    first = place if late is None else min(place, late)
    set_late(behind, None)
    for name, value in vars(first).items():
        setattr(behind, name, value)
    return baths.last_before(session, room.id, BATHS, first)


@dataclass
class _Following:
    """A run on its way through a room's log."""

    work: Work
    room_id: int
    baths: Kept[RoomFilter, Effect]
    run: Run[RoomFilter]
    total: int
    first: int = 0

    def __post_init__(self) -> None:
        self.first = self.run.entries

    def go_on(self) -> bool | None:
        """Estimate a slice and store it; True at the end, False where a place before came up."""
        start = self.run.place
        with reading(self.work.store) as session:
            slice_ = list(islice(told_after(session, self.room_id, start, SLICE), SLICE))
        course = Course(self.room_id)
        self._take(slice_, course)
        with write_in_turn(self.work.store) as session:
            room, behind = self.work.own(session)
            late = late_place(behind)
            if late is not None and late <= self.run.place:
                for name, value in vars(min(late, start)).items():
                    setattr(behind, name, value)
                set_late(behind, None)
                return False
            set_late(behind, None)
            is_end = len(slice_) < SLICE
            if is_end:
                self._take(list(told_after(session, self.room_id, self.run.place)), course)
            self._put_down(session, start, course, is_end)
            for name, value in vars(self.run.place).items():
                setattr(behind, name, value)
            behind.done = self.run.entries - self.first
            room.version += 1
            if is_end:
                define_resins(session, self.room_id)
                define_tanks(session, self.room_id)
                post_anew(session, self.room_id)
                behind.is_estimated = True
        self.work.tell("Estimating", self.run.entries - self.first, self.total)
        return True if is_end else None

    def _take(self, told: list[Told], course: Course) -> None:
        left = max(len(told), self.total - (self.run.entries - self.first))
        self.baths.take(self.run, told, left, course)

    def _put_down(self, session: Session, start: Place, course: Course, is_end: bool) -> None:
        """Store the course of a slice, and the states that are kept on the way."""
        if is_end:
            course.drop_after(session, start)
            self.baths.keep(session, self.room_id, self.run, course)
        else:
            course.drop_between(session, start, self.run.place)
            course.put_down(session)
            self.baths.keep_marks(session, self.room_id, self.run)


def _refresh_tanks(work: Work) -> None:
    """Work out the forecasts of all tanks, a few at a time."""
    with reading(work.store) as session:
        room = find_room(session, work.room)
        keys = session.exec(
            select(TankRow.key).where(TankRow.room_id == room.id).order_by(col(TankRow.place))
        ).all()
    for start in range(0, len(keys), TANKS_AT_ONCE):
        with write_in_turn(work.store) as session:
            room, _ = work.own(session)
            run = head(session, work.store, room)
            if run is None:
                return
            some = set(keys[start : start + TANKS_AT_ONCE])
            refresh_tanks(session, room, run, work.clock(), some)
            hold(work.store, room, run)
        work.tell("Forecasting", start, len(keys))
