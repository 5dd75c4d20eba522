"""The trend of a tank: its estimate with its band, readings, swaps, and the forecast."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from app.domain.baths.course import thinned
from app.domain.baths.rejects import Z_90
from app.store import queries
from app.store.queries import CoursePoint, FanPoint, TankView
from app.web.charts import Tick, TimeScale, ValueScale, area, line, lines
from app.web.deps import Visit
from app.web.filters import moment, percent

COLUMNS = 400
READINGS_LISTED = 30


@dataclass(frozen=True)
class Mark:
    """A reading in the picture: where it lies, its 90 % error bar, and what to say of it."""

    x: float
    y: float
    low_y: float
    high_y: float
    is_set_aside: bool
    text: str


@dataclass(frozen=True)
class Trend:
    """The picture of a tank's saturation over time, and the figures for its table.

    Attributes:
        band, estimate: outline and line of the past; each fill is a piece of its own.
        fan, middle: outline and line of the forecast, empty where there is none.
        limit_y, stop_y: the two limits; `stop_y` None where it lies above the picture.
        swaps, top_ups, rejects: where they lie in the width.
        readings: the readings themselves, newest first.
    """

    band: str
    estimate: str
    fan: str
    middle: str
    limit_y: float
    stop_y: float | None
    now_x: float
    value_ticks: tuple[Tick, ...]
    time_ticks: tuple[Tick, ...]
    marks: tuple[Mark, ...]
    swaps: tuple[float, ...]
    top_ups: tuple[float, ...]
    rejects: tuple[float, ...]
    readings: tuple[CoursePoint, ...]
    washes: int


def trend_of(visit: Visit, tank: TankView, since: datetime) -> Trend:
    """The trend of a tank from an instant on, with its forecast."""
    points = queries.course(visit.session, visit.room_id, tank.key, since, visit.now)
    fan = _worth_showing(tank, since, visit.now)
    until = max([visit.now + timedelta(hours=12), *(point.at for point in fan)])
    return _drawn(visit, tank, points, fan, TimeScale(since, until))


def _drawn(
    visit: Visit,
    tank: TankView,
    points: list[CoursePoint],
    fan: Sequence[FanPoint],
    time: TimeScale,
) -> Trend:
    values = ValueScale(_highest(tank, points))
    pieces = list(_fills(thinned(points, COLUMNS)))
    readings = [point for point in points if point.measured is not None]

    def places(kind: str) -> tuple[float, ...]:
        return tuple(time.x(point.at) for point in points if point.kind == kind)

    return Trend(
        band="".join(_band(piece, time, values) for piece in pieces),
        estimate=lines([[(time.x(p.at), values.y(p.mean)) for p in piece] for piece in pieces]),
        fan=_band(fan, time, values),
        middle=line([(time.x(p.at), values.y(p.p50)) for p in fan]),
        limit_y=values.y(tank.limit_percent),
        stop_y=values.y(tank.stop_percent) if tank.stop_percent < values.highest else None,
        now_x=time.x(visit.now),
        value_ticks=tuple(values.ticks()),
        time_ticks=tuple(time.ticks(visit.zone)),
        marks=tuple(_mark(point, time, values, visit) for point in readings),
        swaps=places("swap"),
        top_ups=places("top_up"),
        rejects=places("reject"),
        readings=tuple(reversed(readings[-READINGS_LISTED:])),
        washes=sum(point.kind == "wash" for point in points),
    )


def _worth_showing(tank: TankView, since: datetime, now: datetime) -> list[FanPoint]:
    """The forecast until the limit is surely passed, and at most twice as long as the past."""
    if tank.swap_started_at is not None:
        return []
    longest = now + max(2 * (now - since), timedelta(days=14))
    end = min(longest, (tank.limit_p90_at or longest) + timedelta(days=2))
    return [point for point in tank.fan if point.at <= max(end, now + timedelta(days=4))]


def _highest(tank: TankView, points: list[CoursePoint]) -> float:
    """The scale reaches past the limit and what was reached, not up to what was set aside."""
    reached = [point.p95 for point in points]
    reached += [p.measured for p in points if p.measured is not None and not p.is_set_aside]
    return 1.12 * max([tank.limit_percent, *reached])


def _fills(points: list[CoursePoint]) -> Iterator[list[CoursePoint]]:
    """The points of each fill, so that no line joins two fills."""
    for _, piece in groupby(points, key=lambda point: point.fill):
        yield list(piece)


def _band(
    points: Sequence[CoursePoint] | Sequence[FanPoint], time: TimeScale, values: ValueScale
) -> str:
    upper = [(time.x(point.at), values.y(point.p95)) for point in points]
    lower = [(time.x(point.at), values.y(point.p05)) for point in points]
    return area(upper, lower)


def _mark(point: CoursePoint, time: TimeScale, values: ValueScale, visit: Visit) -> Mark:
    measured = point.measured or 0.0
    reach = Z_90 * (point.measured_sd or 0.0)
    text = f"{moment(point.at, visit.zone)}: {percent(measured)} ± {percent(reach)}"
    return Mark(
        x=time.x(point.at),
        y=values.y(measured),
        low_y=values.y(measured - reach),
        high_y=values.y(measured + reach),
        is_set_aside=point.is_set_aside,
        text=text + (", set aside" if point.is_set_aside else ""),
    )
