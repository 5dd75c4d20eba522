"""What stands behind a week's comparison and its quality: usual weeks, rejects, late washes."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlalchemy import select as sql_select
from sqlmodel import Session, col

from app.domain.roomlog.kinds import Reject, Wash
from app.domain.spend.weeks import IsoWeek
from app.services.entries import entry_of
from app.services.spend.week import Week, usual_ends
from app.store.instants import from_us, to_us
from app.store.spend import cost_sums, rows_between
from app.store.tables import CourseRow, EntryRow, RoomRow


@dataclass(frozen=True)
class LateWash:
    """A wash whose bath was past the limit that its tank had then; both in mass percent."""

    entry: str
    at: datetime
    tank: str
    percent: float
    limit_percent: float


def usual_weeks(
    session: Session, room: RoomRow, read: Week, category: str, tank: str = ""
) -> list[tuple[IsoWeek, int]]:
    """The weeks that a week is compared with, the newest first, and what each cost of a cause.

    Of a week that is running, they are taken up to the same part of theirs.
    """
    assert room.id is not None
    found = []
    for count, end in usual_ends(session, room, read.spend, read.week, read.share).items():
        cents = cost_sums(session, room.id, {count: end})
        mine = [
            value for (name, where), value in cents.items()
            if name == category and tank in ("", where)
        ]  # fmt: skip
        found.append((IsoWeek.counted(count), sum(mine)))
    return sorted(found, key=lambda pair: -pair[0].count)


def rejects_in(session: Session, room: RoomRow, week: IsoWeek) -> list[Reject]:
    """What was logged as rejected in a week, the oldest first."""
    assert room.id is not None
    rows = rows_between(session, room.id, (Reject.kind,), *week.span(ZoneInfo(room.time_zone)))
    return [one for row in rows if isinstance(one := entry_of(row), Reject)]


def late_washes_in(session: Session, room: RoomRow, week: IsoWeek) -> list[LateWash]:
    """The washes of a week past the limit that their tank had then, the oldest first."""
    assert room.id is not None
    since, until = week.span(ZoneInfo(room.time_zone))
    columns = ("moment_us", "tank", "mean_before_percent", "limit_percent")
    query = (
        sql_select(col(EntryRow.uid), *(col(getattr(CourseRow, name)) for name in columns))
        .join(EntryRow, col(EntryRow.id) == col(CourseRow.entry_id))
        .where(
            col(CourseRow.room_id) == room.id, col(CourseRow.kind) == Wash.kind,
            col(CourseRow.moment_us) >= to_us(since), col(CourseRow.moment_us) < to_us(until),
            col(CourseRow.mean_before_percent) > col(CourseRow.limit_percent),
        )
        .order_by(col(CourseRow.moment_us), col(CourseRow.rank), col(CourseRow.sequence))
    )  # fmt: skip
    return [
        LateWash(uid, from_us(us), tank, percent, limit)
        for uid, us, tank, percent, limit in session.execute(query)
    ]
