"""What the trend of a tank draws: its estimate with its band, readings, swaps, and the forecast."""

from dataclasses import dataclass
from datetime import datetime

from app.domain.baths.course import thinned
from app.store import queries
from app.store.queries import CoursePoint, FanPoint, TankView
from app.web.deps import Visit

COLUMNS = 400


@dataclass(frozen=True)
class Trend:
    """Saturations in mass percent over time.

    Attributes:
        estimate: thinned to the columns of the picture, keeping each column's extremes.
        swaps, top_ups: when they were.
        fan: the forecast from now on; empty where the tank is being swapped.
    """

    since: datetime
    until: datetime
    now: datetime
    limit_percent: float
    stop_percent: float
    estimate: tuple[CoursePoint, ...]
    readings: tuple[CoursePoint, ...]
    swaps: tuple[datetime, ...]
    top_ups: tuple[datetime, ...]
    rejects: tuple[datetime, ...]
    fan: tuple[FanPoint, ...]
    washes: int


def trend_of(visit: Visit, tank: TankView, since: datetime) -> Trend:
    """The trend of a tank from an instant on."""
    now = visit.now
    points = queries.course(visit.session, visit.room_id, tank.key, since, now)
    fan = () if tank.swap_started_at else tank.fan
    until = max([now, *(point.at for point in fan)])
    return Trend(
        since=since,
        until=until,
        now=now,
        limit_percent=tank.limit_percent,
        stop_percent=tank.stop_percent,
        estimate=tuple(thinned(points, COLUMNS)),
        readings=tuple(point for point in points if point.measured is not None),
        swaps=_times(points, "swap"),
        top_ups=_times(points, "top_up"),
        rejects=_times(points, "reject"),
        fan=fan,
        washes=sum(point.kind == "wash" for point in points),
    )


def _times(points: list[CoursePoint], kind: str) -> tuple[datetime, ...]:
    return tuple(point.at for point in points if point.kind == kind)
