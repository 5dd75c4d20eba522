"""What the spending pages ask of the log and of the estimates."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import case, func
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.store.instants import to_us
from app.store.tables import CourseRow, EntryRow, TankRow

LEAST_PERCENT = 0.2  # below it what parts drag out cannot be told from the resin in it


@dataclass(frozen=True, slots=True)
class WashRow:
    """What a tank's entries of a week did to one of its fills, by kind and resin.

    Attributes:
        resin_in_g, resin_out_g, evaporated_g: summed, as the estimator attributes them.
        liquid_out_g: bath liquid that left with the parts.
    """

    tank: str
    fill: int
    kind: str
    resin: str
    count: int
    resin_in_g: float
    resin_out_g: float
    evaporated_g: float
    liquid_out_g: float


def week_washes(session: Session, room_id: int, since: datetime, until: datetime) -> list[WashRow]:
    """The entries of baths between two instants (the second not included), summed."""
    keys = (col(CourseRow.tank), col(CourseRow.fill), col(CourseRow.kind), col(CourseRow.resin))
    is_told = (col(CourseRow.kind) == "wash") & (col(CourseRow.mean_before_percent) > LEAST_PERCENT)
    out_g = col(CourseRow.resin_out_g) * 100 / col(CourseRow.mean_before_percent)
    rows = session.execute(
        sql_select(
            *keys, func.count(), func.sum(CourseRow.resin_in_g), func.sum(CourseRow.resin_out_g),
            func.sum(CourseRow.evaporated_g), func.sum(case((is_told, out_g), else_=0.0)),
        )
        .where(col(CourseRow.room_id) == room_id)
        .where(col(CourseRow.moment_us) >= to_us(since), col(CourseRow.moment_us) < to_us(until))
        .group_by(*keys)
        .order_by(*keys)
    )  # fmt: skip
    return [
        WashRow(tank, fill, kind, resin or "", count, *sums)
        for tank, fill, kind, resin, count, *sums in rows
    ]


def past_limit(session: Session, room_id: int, since: datetime, until: datetime) -> int:
    """Washes between two instants whose bath was past its tank's present limit."""
    query = (
        sql_select(func.count())
        .select_from(CourseRow)
        .join(
            TankRow,
            (col(TankRow.room_id) == col(CourseRow.room_id))
            & (col(TankRow.key) == col(CourseRow.tank)),
        )
        .where(col(CourseRow.room_id) == room_id, col(CourseRow.kind) == "wash")
        .where(col(CourseRow.moment_us) >= to_us(since), col(CourseRow.moment_us) < to_us(until))
        .where(col(CourseRow.mean_before_percent) > col(TankRow.limit_percent))
    )
    return int(session.execute(query).scalar_one())


def parts_mass(
    session: Session, room_id: int, since: datetime, until: datetime
) -> tuple[int, float]:
    """Washes between two instants that were logged with a mass, and that mass in grams."""
    rows = session.exec(
        select(EntryRow.fields).where(
            EntryRow.room_id == room_id, EntryRow.kind == "wash",
            EntryRow.at_us >= to_us(since), EntryRow.at_us < to_us(until),
            col(EntryRow.voided_by).is_(None),
        )
    )  # fmt: skip
    masses = [mass for text in rows if (mass := json.loads(text).get("mass_g")) is not None]
    return len(masses), float(sum(masses))


def rows_between(
    session: Session, room_id: int, kinds: Sequence[str], since: datetime, until: datetime
) -> Sequence[EntryRow]:
    """Entries of these kinds between two instants that still count, the oldest first."""
    query = select(EntryRow).where(
        EntryRow.room_id == room_id, col(EntryRow.kind).in_(kinds),
        EntryRow.at_us >= to_us(since), EntryRow.at_us < to_us(until),
        col(EntryRow.voided_by).is_(None),
    )  # fmt: skip
    return session.exec(query.order_by(col(EntryRow.at_us), col(EntryRow.id))).all()


def daily_loads(
    session: Session, room_id: int, since: datetime, until: datetime
) -> list[tuple[str, int, float, float, float]]:
    """By tank and day from `since`: grams of resin carried in, of liquid out, and evaporated."""
    day = func.floor((col(CourseRow.moment_us) - to_us(since)) / 86_400_000_000)
    is_wash = col(CourseRow.kind) == "wash"
    told = is_wash & (col(CourseRow.mean_before_percent) > LEAST_PERCENT)
    out_g = col(CourseRow.resin_out_g) * 100 / col(CourseRow.mean_before_percent)
    rows = session.execute(
        sql_select(
            col(CourseRow.tank), day, func.sum(case((is_wash, CourseRow.resin_in_g), else_=0.0)),
            func.sum(case((told, out_g), else_=0.0)), func.sum(CourseRow.evaporated_g),
        )
        .where(col(CourseRow.room_id) == room_id)
        .where(col(CourseRow.moment_us) >= to_us(since), col(CourseRow.moment_us) < to_us(until))
        .group_by(col(CourseRow.tank), day)
    )  # fmt: skip
    return [(tank, int(number), *map(float, sums)) for tank, number, *sums in rows]
