"""The lamp of a station today: its output, where it comes from, and when to replace it."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

from app.domain.curing.output import Fit, Point, fit
from app.domain.curing.stations import OutputReading, StationState

Origin = Literal["fitted", "last_reading"]
State = Literal["ok", "soon", "over", "measure", "held"]

OLD_READING = timedelta(days=100)  # common practice, no source: a map of the output each quarter
SOON = timedelta(days=28)  # common practice, no source
LONGEST_DAYS = 3650.0
DROP = 0.9  # common practice, no source: dirt or a dead row, not age


@dataclass(frozen=True)
class Relamping:
    """When the output meets the level at which the room relamps.

    Attributes:
        level_mw_cm2: that level.
        projected_h: where the fitted line meets it, whatever the cap.
        reported_h: the same, but None beyond the cap: then only “not before `cap_h`” is said.
        early_h, late_h: its 90 % interval; None beyond the cap.
        due_at, early_at, late_at, cap_at: the days, by the station's usage; None without usage.
        is_due: the output is at the level or below it; then nothing is projected.
    """

    level_mw_cm2: float
    projected_h: float | None
    reported_h: float | None
    early_h: float | None
    late_h: float | None
    due_at: datetime | None
    early_at: datetime | None
    late_at: datetime | None
    cap_at: datetime | None
    is_due: bool


@dataclass(frozen=True)
class Lamp:
    """A station's lamp at an instant.

    Attributes:
        mw_cm2: mean irradiance today; None where it was never measured.
        low_mw_cm2, high_mw_cm2: its 90 % interval; None where too few readings give one.
        least_share: weakest position over the mean, of the last reading.
        origin: where `mw_cm2` comes from.
        has_dropped: the last reading lies well below the line: it counts instead.
        fit: the line through the readings; None with too few.
        of_new: output over the output when new.
        drift_per_1000h: share lost in 1000 h by the line; None without a line.
    """

    mw_cm2: float | None
    low_mw_cm2: float | None
    high_mw_cm2: float | None
    least_share: float
    uniformity: float | None
    origin: Origin
    has_dropped: bool
    fit: Fit | None
    of_new: float | None
    drift_per_1000h: float | None
    hours_per_day: float | None
    relamping: Relamping | None
    reading_age: timedelta | None

    @property
    def is_reading_old(self) -> bool:
        """The last reading was long ago."""
        return self.reading_age is not None and self.reading_age > OLD_READING

    @property
    def time_factor(self) -> float | None:
        """How many times as long as on the new lamp a dose takes."""
        return None if not self.of_new else 1 / self.of_new


def lamp(station: StationState, now: datetime) -> Lamp:
    """The lamp of a station now.

    The fitted line counts where one was found with a decline that is no chance; otherwise, and
    where the last reading lies well below the line, the mean of that reading does.
    """
    last = station.last_reading
    line = fit([Point(r.hours_h, r.mean_mw_cm2) for r in station.readings], station.light_sources)
    usage = station.hours_per_day(now)
    has_dropped = _has_dropped(line, last)
    is_fitted = line is not None and line.is_sure and not has_dropped
    origin: Origin = "fitted" if is_fitted else "last_reading"
    today, low, high = _today(station, line, origin)
    new = station.new_output
    return Lamp(
        mw_cm2=today,
        low_mw_cm2=low,
        high_mw_cm2=high,
        least_share=last.least_mw_cm2 / last.mean_mw_cm2 if last else 1.0,
        uniformity=last.uniformity if last else None,
        origin=origin,
        has_dropped=has_dropped,
        fit=line,
        of_new=today / new if today is not None and new else None,
        drift_per_1000h=1000 * line.alpha_per_h if line else None,
        hours_per_day=usage,
        relamping=_relamping(station, line, today, usage, now),
        reading_age=now - last.at if last else None,
    )


def state_of(station: StationState, lamp: Lamp, now: datetime) -> State:
    """What a station asks for: a lead, or its lamp replaced, soon or at once, or measured."""
    if station.hold.is_held:
        return "held"
    if lamp.mw_cm2 is None:
        return "measure"
    relamping = lamp.relamping
    if relamping is not None and relamping.is_due:
        return "over"
    if lamp.is_reading_old:
        return "measure"
    if relamping is not None and relamping.early_at is not None:
        return "soon" if relamping.early_at <= now + SOON else "ok"
    return "ok"


def _has_dropped(line: Fit | None, last: OutputReading | None) -> bool:
    if line is None or last is None:
        return False
    return last.mean_mw_cm2 < DROP * line.output_mw_cm2(last.hours_h)


def _today(
    station: StationState, line: Fit | None, origin: Origin
) -> tuple[float | None, float | None, float | None]:
    if line is not None and origin == "fitted":
        return (line.output_mw_cm2(station.hours_h), *line.interval_mw_cm2(station.hours_h))
    last = station.last_reading
    return (last.mean_mw_cm2 if last else None, None, None)


def _relamping(
    station: StationState,
    line: Fit | None,
    today: float | None,
    usage: float | None,
    now: datetime,
) -> Relamping | None:
    new = station.new_output
    if new is None or today is None:
        return None
    level = new * station.relamp_percent / 100
    is_due = today <= level
    if is_due or line is None or not line.declines:
        return Relamping(level, None, None, None, None, None, None, None, None, is_due)
    projected = max(line.hours_to(level), 0.0)
    reported = projected if projected <= line.cap_h else None
    early, late = line.hours_within(level)

    def day(hours_h: float | None) -> datetime | None:
        return _day(station, usage, hours_h, now)

    return Relamping(
        level, projected, reported, early, late,
        day(reported), day(early), day(late), day(line.cap_h), is_due,
    )  # fmt: skip


def _day(
    station: StationState, usage: float | None, hours_h: float | None, now: datetime
) -> datetime | None:
    """The day on which the lamp will have run so long at this usage; None beyond ten years."""
    if hours_h is None or not usage:
        return None
    days = max(hours_h - station.hours_h, 0.0) / usage
    return now + timedelta(days=days) if days <= LONGEST_DAYS else None
