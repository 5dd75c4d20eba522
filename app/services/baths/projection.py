"""Keeping estimates, forecasts and the room page's rows in step with the log.

The filter's state after the last entry is kept. A new entry moves it on by one step; a late or
corrected one starts again from the checkpoint before it, so that the result is the one that the
right order would have given.
"""

import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from sqlalchemy import delete, insert
from sqlmodel import Session, col, select

from app.domain.baths.estimator import Effect, RoomFilter
from app.domain.roomlog.kinds import (
    Entry,
    Reading,
    Reject,
    Resin,
    Tank,
    TankChange,
    Withdrawal,
)
from app.services.baths import checkpoints
from app.services.baths.board import define_tanks, refresh_tanks
from app.services.baths.checkpoints import Run
from app.services.definitions import define_resins
from app.services.entries import PAGE, START, Place, count_after, counting_after, entry_of, place_of
from app.services.things import rebuild_things
from app.store.engine import Store
from app.store.instants import to_us
from app.store.tables import CourseRow, EntryRow, HeadRow, RoomRow

CHECKPOINT_EVERY = 50
PROGRESS_EVERY = 500

Progress = Callable[[str, int, int], None]


def project(
    session: Session,
    store: Store,
    room: RoomRow,
    from_place: Place,
    entries: Sequence[Entry],
    now: datetime,
    progress: Progress | None = None,
) -> None:
    """Bring everything worked out from the log up to date, from `from_place` on.

    `entries` are the ones just recorded.
    """
    assert room.id is not None
    if any(isinstance(entry, Resin | Withdrawal) for entry in entries):
        define_resins(session, room.id)
    if any(isinstance(entry, Tank | TankChange | Withdrawal) for entry in entries):
        define_tanks(session, room.id)
    run = checkpoints.head(session, store, room)
    if run is None or from_place <= run.place:
        run = checkpoints.rewound(session, room, from_place)
    stretch = _follow(session, room, run, progress)
    touched = stretch.tanks | _replaced_tanks(session, room.id, entries)
    checkpoints.thin(session, room, run.entries)
    checkpoints.keep_head(session, store, room, run)
    refresh_tanks(session, room, run, now, touched, stretch.has_readings)


def rebuild(
    session: Session, store: Store, room: RoomRow, now: datetime, progress: Progress | None = None
) -> None:
    """Work everything out anew from the log."""
    assert room.id is not None
    session.execute(delete(HeadRow).where(col(HeadRow.room_id) == room.id))
    store.states.pop(room.id, None)
    define_resins(session, room.id)
    define_tanks(session, room.id)
    run = checkpoints.rewound(session, room, START)
    _follow(session, room, run, progress)
    checkpoints.thin(session, room, run.entries)
    checkpoints.keep_head(session, store, room, run)
    rebuild_things(session, room.id)
    refresh_tanks(session, room, run, now)


@dataclass
class Stretch:
    """What was met on the way through a stretch of the log."""

    tanks: set[str] = field(default_factory=set)
    has_readings: bool = False
    course: list[dict[str, Any]] = field(default_factory=list)

    def meet(self, row: Any, entry: Entry, effect: Effect | None) -> None:
        """Take down an entry and its effect."""
        if row.tank is not None:
            self.tanks.add(row.tank)
        self.has_readings |= row.kind == Reading.kind
        if effect is not None:
            self.course.append(course_row(row.room_id, row.id, place_of(row), entry, effect))

    def put_down(self, session: Session) -> None:
        """Store the effects met so far."""
        if self.course:
            session.execute(insert(CourseRow.__table__), self.course)  # type: ignore[attr-defined]
            self.course.clear()


def _follow(session: Session, room: RoomRow, run: Run, progress: Progress | None) -> Stretch:
    """Apply all entries that count behind the run's place."""
    assert room.id is not None
    stretch = Stretch()
    total = count_after(session, room.id, run.place) if progress else 0
    first = kept = run.entries
    for row in counting_after(session, room.id, run.place):
        take_in(run, stretch, row)
        if run.entries - kept >= checkpoint_distance(run.entries - first):
            checkpoints.keep(session, room, run)
            kept = run.entries
        if progress is not None and run.entries % PROGRESS_EVERY == 0:
            progress("Estimating", run.entries - first, total)
        if len(stretch.course) >= PAGE:
            stretch.put_down(session)
    stretch.put_down(session)
    return stretch


def checkpoint_distance(entries: int) -> int:
    """How many entries lie between two checkpoints, so many entries into a stretch."""
    return CHECKPOINT_EVERY + entries // 20


def take_in(run: Run, stretch: Stretch, row: Any) -> None:
    """Move a run on by an entry, given as its row, and take down what it did."""
    entry = entry_of(row)
    stretch.meet(row, entry, run.filter.apply(entry) or _seen(run, entry))
    run.place, run.entries = place_of(row), run.entries + 1


def _seen(run: Run, entry: Entry) -> Effect | None:
    """A reject does nothing to its bath; what the bath was then is kept with it."""
    if not isinstance(entry, Reject) or entry.tank not in run.filter.tanks:
        return None
    return seen(run.filter, entry)


def seen(baths: RoomFilter, entry: Reject) -> Effect:
    """What a bath was when parts were rejected."""
    belief = baths.belief(entry.tank, entry.at)
    return Effect(entry.tank, belief.fill, belief, belief.mean_percent)


def _replaced_tanks(session: Session, room_id: int, entries: Sequence[Entry]) -> set[str]:
    """The tanks of what was corrected or withdrawn, which may have nothing left to follow."""
    targets = [
        target
        for entry in entries
        if (target := entry.withdraws if isinstance(entry, Withdrawal) else entry.corrects)
    ]
    found: set[str] = set()
    for start in range(0, len(targets), 500):
        some = targets[start : start + 500]
        query = select(EntryRow.tank).where(EntryRow.room_id == room_id)
        tanks = session.exec(query.where(col(EntryRow.uid).in_(some)))
        found.update(tank for tank in tanks if tank is not None)
    return found


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
