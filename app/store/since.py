"""What a room's log has since an instant: washes with their levels, other entries, late ones.

Each read may end at a row: what was stored behind it is left out, whenever it happened.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, cast

from sqlalchemy import ColumnElement, func, true
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.store.instants import to_us
from app.store.tables import CourseRow, EntryRow

WASH, WITHDRAWAL = "wash", "withdrawal"
MOST = 2000  # more than a shift has; of a room that is never handed over the last ones


@dataclass(frozen=True)
class WashLevel:
    """A wash with the estimate before and after it, mass percent; None while none is made.

    Attributes:
        fill: which bath of its tank.
    """

    tank: str
    fill: int | None
    before_percent: float | None
    after_percent: float | None


@dataclass(frozen=True)
class Late:
    """How many entries of a kind are of before, and came or were corrected since."""

    kind: str
    is_correction: bool
    count: int


def washes_since(
    session: Session, room_id: int, since: datetime, until: int | None = None
) -> list[WashLevel]:
    """The washes that count, in the order of time."""
    columns = (
        col(EntryRow.tank), col(CourseRow.fill),
        col(CourseRow.mean_before_percent), col(CourseRow.mean_percent),
    )  # fmt: skip
    rows = session.execute(
        sql_select(*columns)
        .join(CourseRow, col(CourseRow.entry_id) == col(EntryRow.id), isouter=True)
        .where(col(EntryRow.room_id) == room_id, col(EntryRow.kind) == WASH)
        .where(col(EntryRow.at_us) >= to_us(since), col(EntryRow.voided_by).is_(None))
        .where(_up_to(until))
        .order_by(col(EntryRow.moment_us), col(EntryRow.rank), col(EntryRow.sequence))
    )
    return [WashLevel(tank or "", *rest) for tank, *rest in rows]


def others_since(
    session: Session, room_id: int, since: datetime, left_out: Collection[str],
    until: int | None = None,
) -> Sequence[EntryRow]:  # fmt: skip
    """The entries that count and are no washes, in the order of time; of many the last."""
    rows = session.exec(
        select(EntryRow)
        .where(EntryRow.room_id == room_id, EntryRow.at_us >= to_us(since))
        .where(col(EntryRow.kind).not_in((WASH, *left_out)), col(EntryRow.voided_by).is_(None))
        .where(_up_to(until))
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(MOST)
    ).all()
    return rows[::-1]


def set_aside_since(session: Session, room_id: int, since: datetime) -> dict[int, str]:
    """The tank of each reading that is set aside, by the number of its row."""
    rows = session.execute(
        sql_select(col(CourseRow.entry_id), col(CourseRow.tank))
        .where(col(CourseRow.room_id) == room_id, col(CourseRow.at_us) >= to_us(since))
        .where(col(CourseRow.is_set_aside).is_(True))
    )
    return dict(rows.all())


def late_since(
    session: Session, room_id: int, since: datetime, row_id: int, left_out: Collection[str],
    until: int | None = None,
) -> list[Late]:  # fmt: skip
    """What happened before an instant and was entered or corrected behind a row, by kind."""
    is_correction = col(EntryRow.corrects).is_not(None)
    rows = session.execute(
        sql_select(col(EntryRow.kind), is_correction, func.count())
        .where(col(EntryRow.room_id) == room_id, col(EntryRow.id) > row_id)
        .where(col(EntryRow.at_us) < to_us(since), col(EntryRow.voided_by).is_(None))
        .where(col(EntryRow.kind).not_in(left_out), _up_to(until))
        .group_by(col(EntryRow.kind), is_correction)
        .order_by(col(EntryRow.kind))
    )
    return [Late(kind, bool(corrects), count) for kind, corrects, count in rows]


def withdrawn_since(session: Session, room_id: int, row_id: int, until: int | None = None) -> int:
    """How many entries that were stored by then have been withdrawn behind a row."""
    words = sql_select(col(EntryRow.uid)).where(
        col(EntryRow.room_id) == room_id, col(EntryRow.id) > row_id,
        col(EntryRow.kind) == WITHDRAWAL, _up_to(until),
    )  # fmt: skip
    query = sql_select(func.count()).select_from(EntryRow).where(
        col(EntryRow.room_id) == room_id, col(EntryRow.id) <= row_id,
        cast(Any, EntryRow.voided_by).in_(words),
    )  # fmt: skip
    return int(session.execute(query).scalar_one())


def _up_to(until: int | None) -> ColumnElement[bool]:
    return true() if until is None else col(EntryRow.id) <= until
