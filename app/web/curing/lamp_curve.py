"""The picture of a lamp's output over its hours: readings, fitted line, projection to its cap."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from app.domain.curing.lamp import Lamp
from app.domain.curing.output import Fit
from app.domain.curing.plain import plain
from app.domain.curing.stations import OutputReading, StationState
from app.domain.curing.trust import Course
from app.web.charts import LEFT, RIGHT, WIDTH, Tick, ValueScale, area, line, nice_values
from app.web.curing.words import hours

STEPS = 40
BEYOND = 1.12  # how far the picture reaches past what it must show
FARTHEST = 4.0  # times the tested hours: beyond it the readings would be too small to see


@dataclass(frozen=True)
class CurveMark:
    """A reading in the picture: its mean, from its weakest to its strongest position.

    One that is set aside stands at the edge where the picture does not reach it.
    """

    x: float
    y: float
    low_y: float
    high_y: float
    text: str
    is_aside: bool = False


@dataclass(frozen=True)
class LampCurve:
    """Output over hours, drawn.

    Attributes:
        tested, projected: the line between the readings fitted, and beyond them up to the cap.
        band: outline of its 90 % interval.
        cap_x: where the projection must end; None where that lies outside the picture.
    """

    value_ticks: tuple[Tick, ...]
    hour_ticks: tuple[Tick, ...]
    marks: tuple[CurveMark, ...]
    tested: str
    projected: str
    band: str
    level_y: float | None
    new_y: float | None
    now_x: float
    tested_x: float | None
    cap_x: float | None
    relamp_x: float | None


@dataclass(frozen=True)
class HourScale:
    """From hours of the lamp to the picture's width."""

    lowest: float
    highest: float

    def x(self, hours_h: float) -> float:
        """Where so many hours lie."""
        share = (hours_h - self.lowest) / (self.highest - self.lowest)
        return round(LEFT + share * (WIDTH - LEFT - RIGHT), 1)

    def ticks(self) -> list[Tick]:
        """Round hours."""
        step = nice_values(self.highest - self.lowest, 8)[1]
        first, last = math.ceil(self.lowest / step), math.floor(self.highest / step)
        marks = [step * count for count in range(first, last + 1)]
        return [Tick(self.x(value), plain(value)) for value in marks]


def curve_of(station: StationState, lamp: Lamp, course: Course) -> LampCurve | None:
    """The picture; None where this lamp was never measured."""
    if not station.readings:
        return None
    fit, relamping = lamp.fit, lamp.relamping
    scale = _scale(station, lamp)
    values = ValueScale(BEYOND * _highest(station, course))
    relamp_h = relamping.reported_h if relamping else None
    return LampCurve(
        value_ticks=tuple(values.ticks()),
        hour_ticks=tuple(scale.ticks()),
        marks=tuple(
            _mark(reading, scale, values, course.is_aside(reading)) for reading in station.readings
        ),
        **_lines(fit, scale, values),
        level_y=values.y(relamping.level_mw_cm2) if relamping else None,
        new_y=values.y(lamp.new_mw_cm2) if lamp.new_mw_cm2 else None,
        now_x=scale.x(station.hours_h),
        tested_x=scale.x(fit.tested_h) if fit else None,
        cap_x=scale.x(fit.cap_h) if fit and fit.declines and fit.cap_h <= scale.highest else None,
        relamp_x=scale.x(relamp_h) if relamp_h and relamp_h <= scale.highest else None,
    )


def _scale(station: StationState, lamp: Lamp) -> HourScale:
    """From zero, or from a little before the first reading where that leaves out much."""
    farthest, first = _farthest(station, lamp), station.readings[0].hours_h
    span = farthest - first
    lowest = max(first - 0.15 * span, 0.0) if span > 0 and first > span / 2 else 0.0
    return HourScale(lowest, farthest + (BEYOND - 1) * (farthest - lowest))


def _farthest(station: StationState, lamp: Lamp) -> float:
    tested = station.readings[-1].hours_h
    reached = max(station.hours_h, tested, 10.0)
    fit, relamping = lamp.fit, lamp.relamping
    if fit is None or not fit.declines or relamping is None:
        return reached
    wanted = min(relamping.projected_h or 1.3 * fit.tested_h, fit.cap_h, FARTHEST * fit.tested_h)
    return max(reached, wanted)


def _highest(station: StationState, course: Course) -> float:
    """What must be seen: readings set aside only where nothing else is there."""
    counting = [one for one in station.readings if not course.is_aside(one)] or station.readings
    strongest = [max(reading.positions.values()) for reading in counting]
    return max([course.new_mw_cm2 or 0.0, *strongest])


def _mark(
    reading: OutputReading, scale: HourScale, values: ValueScale, is_aside: bool
) -> CurveMark:
    spots = reading.positions.values()
    text = f"{hours(reading.hours_h)}: {plain(reading.mean_mw_cm2)} mW/cm²"
    if is_aside:
        text += ", set aside"
    low, high = values.y(min(spots)), values.y(max(spots))
    at = (scale.x(reading.hours_h), values.y(reading.mean_mw_cm2))
    return CurveMark(*at, low, high, text, is_aside)


def _lines(fit: Fit | None, scale: HourScale, values: ValueScale) -> dict[str, str]:
    if fit is None:
        return {"tested": "", "projected": "", "band": ""}
    end = min(fit.cap_h, scale.highest) if fit.declines else fit.tested_h
    before = _hours(fit.first_h, fit.tested_h)
    after = _hours(fit.tested_h, end) if end > fit.tested_h else []
    whole = [*before, *after]
    return {
        "tested": line((scale.x(h), values.y(fit.output_mw_cm2(h))) for h in before),
        "projected": line((scale.x(h), values.y(fit.output_mw_cm2(h))) for h in after),
        "band": area(
            [(scale.x(h), values.y(fit.interval_mw_cm2(h)[1])) for h in whole],
            [(scale.x(h), values.y(fit.interval_mw_cm2(h)[0])) for h in whole],
        ),
    }


def _hours(since: float, until: float) -> Sequence[float]:
    return [since + (until - since) * step / STEPS for step in range(STEPS + 1)]
