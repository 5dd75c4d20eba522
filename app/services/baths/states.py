"""The state of a room's filter, and what each entry did to its bath, as the driver keeps them."""

import json
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import delete, insert
from sqlmodel import Session

from app.domain.baths.estimator import Effect, RoomFilter
from app.domain.baths.fold import BATHS, BathFold
from app.domain.folds import Key
from app.domain.roomlog.kinds import Entry, Reading
from app.services.changes import Changes, Told
from app.services.entries import PAGE, Place, after, count_after, counting_after, entry_of, place_of
from app.services.fold_states import States
from app.services.projecting import Kept, Run
from app.store.engine import Store
from app.store.instants import to_us
from app.store.tables import CheckpointRow, CourseRow, HeadRow, RoomRow

COURSE: Any = CourseRow.__table__  # type: ignore[attr-defined]


class _OfBaths:
    """The entries of the baths."""

    def after(self, session: Session, room_id: int, _key: Key, place: Place) -> Iterator[Told]:
        return told_after(session, room_id, place)

    def count(self, session: Session, room_id: int, _key: Key, place: Place) -> int:
        return count_after(session, room_id, place)

    def keys(self, _session: Session, _room_id: int, _kinds: Collection[str]) -> Iterable[Key]:
        return (BATHS,)


def told_after(session: Session, room_id: int, place: Place, page: int = PAGE) -> Iterator[Told]:
    """The bath entries that count behind a place, in order, read a page at a time."""
    for row in counting_after(session, room_id, place, page):
        yield Told(place_of(row), entry_of(row), row.id)


def baths_of(room: RoomRow, store: Store | None = None) -> Kept[RoomFilter, Effect]:
    """The baths of a room; with `store` the last state is kept in memory between writes."""
    return Kept(
        "Estimating",
        BathFold(ZoneInfo(room.time_zone)), States(HeadRow, CheckpointRow), _OfBaths(),
        held=None if store is None else store.states,
    )  # fmt: skip


def head(session: Session, store: Store, room: RoomRow) -> Run[RoomFilter] | None:
    """The run after the last entry; None before the first. Give it back with `hold`."""
    assert room.id is not None
    run = baths_of(room, store).head(session, room.id, BATHS)
    return run if run.entries else None


def hold(store: Store, room: RoomRow, run: Run[RoomFilter]) -> None:
    """Keep a run in memory for the next write; it is the one after the last entry."""
    assert room.id is not None
    store.states[room.id] = run


def load_filter(session: Session, room: RoomRow) -> RoomFilter:
    """The filter after the last entry, for reading."""
    assert room.id is not None
    return baths_of(room).head(session, room.id, BATHS).state


def first_of_baths(changes: Changes) -> Place | None:
    """The first place at which changes may move an estimate; None where they move none."""
    places = [told.place for some in (changes.news, changes.gone) for told in some
              if told.entry.concerns_bath]  # fmt: skip
    return min(places, default=None)


@dataclass
class Course:
    """What the entries of a stretch did to their baths, on its way to the table.

    Attributes:
        tanks: those that were met; has_readings: one of the entries was a reading.
    """

    room_id: int
    tanks: set[str] = field(default_factory=set)
    has_readings: bool = False
    rows: list[dict[str, Any]] = field(default_factory=list)

    def take(self, told: Told, outs: Sequence[Effect]) -> None:
        """Take down what an entry did."""
        tank = getattr(told.entry, "tank", None)
        if tank is not None:
            self.tanks.add(tank)
        self.has_readings |= told.entry.kind == Reading.kind
        for effect in outs:
            self.rows.append(course_row(self.room_id, told.id, told.place, told.entry, effect))

    def drop_after(self, session: Session, place: Place) -> None:
        """Drop what was taken down behind a place."""
        behind = COURSE.c.room_id == self.room_id, after(CourseRow, place)
        session.execute(delete(COURSE).where(*behind))

    def drop_between(self, session: Session, start: Place, end: Place) -> None:
        """Drop what was taken down behind a place, up to another one."""
        behind = COURSE.c.room_id == self.room_id, after(CourseRow, start), ~after(CourseRow, end)
        session.execute(delete(COURSE).where(*behind))

    def put_down(self, session: Session) -> None:
        """Store what was taken down so far."""
        if self.rows:
            session.execute(insert(COURSE), self.rows)
            self.rows.clear()


def course_row(
    room_id: int, entry_id: int, place: Place, entry: Entry, effect: Effect
) -> dict[str, Any]:
    """What is stored of an entry's effect."""
    measured, belief = effect.measured, effect.belief
    return {
        "entry_id": entry_id,
        "room_id": room_id,
        "tank": effect.tank,
        "kind": entry.kind,
        "resin": getattr(entry, "resin", None),
        "fill": effect.fill,
        "at_us": to_us(entry.at),
        **vars(place),
        "mean_before_percent": effect.mean_before_percent,
        "limit_percent": belief.limit_percent,
        "mean_percent": belief.mean_percent,
        "p05_percent": belief.p05_percent,
        "p95_percent": belief.p95_percent,
        "resin_in_g": effect.resin_in_g,
        "resin_out_g": effect.resin_out_g,
        "evaporated_g": effect.evaporated_g,
        "correction_g": effect.correction_g,
        "measured_percent": measured.mass_percent if measured else None,
        "measured_sd_percent": measured.sd_percent if measured else None,
        "slip_weight": effect.slip_weight if measured else None,
        "is_set_aside": effect.is_set_aside,
        "is_apparent": bool(measured and measured.is_apparent),
        "notes": json.dumps(list(effect.notes)),
    }
