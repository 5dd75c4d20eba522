"""How far a room's forecasts can be trusted: its own record, kept as the log grew."""

from dataclasses import dataclass

from sqlmodel import Session, col, select

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.fold import BATHS
from app.domain.baths.record import Record, Tally, tally
from app.domain.roomlog.kinds import Reading
from app.services.baths.states import baths_of
from app.services.caching import kept
from app.services.entries import entry_of
from app.services.projecting import Run
from app.store.tables import CourseRow, EntryRow, RoomRow

MOST_READINGS = 1000


@dataclass(frozen=True)
class Miss:
    """A reading that counted, less the estimate just before it, mass percent."""

    method: str
    difference_percent: float


def record_of(session: Session, room: RoomRow) -> Record:
    """What was forecast of the room's baths, and what came of it."""
    return run_of(session, room).state.record


def run_of(session: Session, room: RoomRow) -> Run[RoomFilter]:
    """The room's filter after the last entry, to look at; nothing may move it on."""
    assert room.id is not None
    room_id = room.id
    return kept(
        session, room_id, "filter", room.version,
        lambda: baths_of(room).head(session, room_id, BATHS),
    )  # fmt: skip


def tally_of(session: Session, room: RoomRow) -> Tally:
    """Of how many fills that ended something was said, and of how many it held."""
    return tally(record_of(session, room).closed)


def misses_of(session: Session, room: RoomRow) -> list[Miss]:
    """The latest readings against the estimates before them; none that was set aside."""
    rows = session.execute(
        select(EntryRow, CourseRow.measured_percent, CourseRow.mean_before_percent)
        .join(CourseRow, col(CourseRow.entry_id) == col(EntryRow.id))
        .where(EntryRow.room_id == room.id, EntryRow.kind == Reading.kind)
        .where(col(CourseRow.measured_percent).is_not(None), col(CourseRow.is_set_aside).is_(False))
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(MOST_READINGS)
    )
    found = []
    for row, measured, before in rows:
        entry = entry_of(row)
        assert isinstance(entry, Reading)
        found.append(Miss(entry.method, float(measured) - float(before)))
    return found
