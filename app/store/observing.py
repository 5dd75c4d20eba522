"""What whoever watches the program reads of the database: counts and times, no names."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.store.import_tables import BehindRow
from app.store.queries import archived
from app.store.tables import RoomRow, TankRow, ThingRow

LEFT_AFTER = timedelta(minutes=1)
"""How long a forecast may be due before it is taken for left: it follows its entry in a second."""


@dataclass(frozen=True)
class Observed:
    """Figures over all rooms in use.

    Attributes:
        entries: stored ever, withdrawn ones too.
        waiting: entries whose figures are yet to follow.
        open_things: how many are open in the books, by sort.
        estimated_at_us, forecast_at_us: of the tank where it is longest ago; None without a tank.
        due: forecasts that are due; `due_since_us` the one that waits longest, None without one.
    """

    rooms: int
    entries: int
    waiting: int
    open_things: Mapping[str, int]
    estimated_at_us: int | None
    forecast_at_us: int | None
    due: int
    due_since_us: int | None


def observed(session: Session) -> Observed:
    """The figures as they are now."""
    gone = archived(session)
    rooms, entries = session.exec(
        select(func.count(), func.sum(RoomRow.sequence)).where(col(RoomRow.id).not_in(gone))
    ).one()
    waiting = session.exec(select(func.sum(BehindRow.total - BehindRow.done))).one()
    things = session.exec(
        select(ThingRow.thing, func.count())
        .where(col(ThingRow.is_open), col(ThingRow.room_id).not_in(gone))
        .group_by(col(ThingRow.thing))
    )
    times = select(func.min(TankRow.estimated_at_us), func.min(TankRow.forecast_at_us)).where(
        col(TankRow.is_retired).is_(False), TankRow.estimated_at_us > 0,
        col(TankRow.room_id).not_in(gone),
    )  # fmt: skip
    estimated_at_us, forecast_at_us = session.exec(times).one()
    noted = select(func.count(), func.min(TankRow.forecast_due_us))
    due, due_since_us = session.exec(noted.where(col(TankRow.forecast_due_us).is_not(None))).one()
    return Observed(
        rooms, int(entries or 0), max(0, int(waiting or 0)), dict(things.all()), estimated_at_us,
        forecast_at_us or None, due, due_since_us,
    )  # fmt: skip
