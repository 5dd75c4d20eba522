"""The logged washes of a stretch of days, and the saturations at which baths were swapped."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import JSON, case, cast, func, type_coerce
from sqlalchemy import select as sql_select
from sqlmodel import Session, col

from app.store.instants import from_us, to_us
from app.store.tables import CourseRow, EntryRow

DAY_US = 86_400_000_000
MEASURES = ("area_cm2", "mass_g", "parts")  # where a wash is sized in several ways the first counts


def daily_washes(
    session: Session, room_id: int, since: datetime, until: datetime
) -> dict[tuple[str, int, str, int], tuple[float, int]]:
    """Size and number of the washes between two instants (the second not included), summed by
    tank, day from `since`, resin and way to size (its place in `MEASURES`)."""
    since_us = to_us(since)
    values = _json(session)
    sizes = [values[name].as_float() for name in MEASURES]
    day = func.floor((col(EntryRow.at_us) - since_us) / DAY_US)
    measure = case(
        *((size.is_not(None), number) for number, size in enumerate(sizes)), else_=len(sizes)
    )
    keys = col(EntryRow.tank), day, col(EntryRow.resin), measure
    rows = session.execute(
        sql_select(*keys, func.sum(func.coalesce(*sizes)), func.count())
        .where(col(EntryRow.room_id) == room_id, col(EntryRow.kind) == "wash")
        .where(col(EntryRow.at_us) >= since_us, col(EntryRow.at_us) < to_us(until))
        .where(col(EntryRow.voided_by).is_(None))
        .group_by(*keys)
        .order_by(*keys)
    )
    return {
        (tank or "", int(number), resin or "", int(way)): (float(size), int(count))
        for tank, number, resin, way, size, count in rows
        if size is not None
    }


def _json(session: Session) -> Any:
    """An entry's own fields as JSON that the database looks into."""
    if session.get_bind().dialect.name == "sqlite":
        return type_coerce(col(EntryRow.fields), JSON)
    return cast(col(EntryRow.fields), JSON)


@dataclass(frozen=True, slots=True)
class Drain:
    """How loaded a bath was just before a swap, and the limit that its tank had then."""

    tank: str
    at: datetime
    percent: float
    limit_percent: float | None


def drains(session: Session, room_id: int, since: datetime, until: datetime) -> list[Drain]:
    """The swaps between two instants, in the order of time."""
    columns = ("tank", "at_us", "mean_before_percent", "limit_percent")
    rows = session.execute(
        sql_select(*(col(getattr(CourseRow, name)) for name in columns))
        .where(col(CourseRow.room_id) == room_id, col(CourseRow.kind) == "swap")
        .where(col(CourseRow.moment_us) >= to_us(since), col(CourseRow.moment_us) < to_us(until))
        .order_by(col(CourseRow.moment_us))
    )
    return [Drain(tank, from_us(at_us), percent, limit) for tank, at_us, percent, limit in rows]


def percent_at(session: Session, room_id: int, tank: str, at: datetime) -> float | None:
    """Estimated saturation after a bath's last entry before an instant; else after its first."""
    of_tank = (col(CourseRow.room_id) == room_id, col(CourseRow.tank) == tank)
    query = sql_select(col(CourseRow.mean_percent)).where(*of_tank).limit(1)
    before = query.where(col(CourseRow.at_us) <= to_us(at)).order_by(col(CourseRow.at_us).desc())
    found = session.execute(before).scalar()
    if found is None:
        found = session.execute(query.order_by(col(CourseRow.at_us))).scalar()
    return None if found is None else float(found)
