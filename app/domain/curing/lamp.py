"""The lamp of a station today: its output, where it comes from, and when to replace it."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Literal

from app.domain.curing.output import Fit
from app.domain.curing.stations import OutputReading, StationState
from app.domain.curing.trust import DROP, Aside, Course, course_of
from app.domain.roomlog.kinds.curing import LEAST_MW_CM2, MARKED

Origin = Literal["fitted", "last_reading"]
State = Literal["ok", "soon", "over", "measure", "held"]

OLD_READING = timedelta(days=100)  # common practice, no source: a map of the output each quarter
SOON = timedelta(days=28)  # common practice, no source
LONGEST_DAYS = 3650.0


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
        new_mw_cm2: mean output when new; None where it was neither entered nor measured.
        least_share: weakest position over the mean, of the reading that counts.
        dark: positions without light, of the same.
        origin: where `mw_cm2` comes from.
        has_dropped: the last reading lies well below what was expected: it counts instead.
        aside: readings set aside that wait to be settled; a low one rules the time all the same.
        rests_on: the reading that counts, whether a line is drawn or not.
        fit: the line through the readings; None with too few.
        of_new: output over the output when new.
        drift_per_1000h: share lost in 1000 h by the line; None without a line.
        carried: places that `rests_on` leaves out, by their share of the centre when they were last
            measured, in mW/cm2 at the level of `rests_on`.
    """

    mw_cm2: float | None
    low_mw_cm2: float | None
    high_mw_cm2: float | None
    new_mw_cm2: float | None
    least_share: float
    dark: tuple[str, ...]
    uniformity: float | None
    origin: Origin
    has_dropped: bool
    aside: tuple[Aside, ...]
    rests_on: OutputReading | None
    fit: Fit | None
    of_new: float | None
    drift_per_1000h: float | None
    hours_per_day: float | None
    relamping: Relamping | None
    reading_age: timedelta | None
    carried: Mapping[str, float] = field(default_factory=dict)

    @property
    def is_reading_old(self) -> bool:
        """The last reading was long ago."""
        return self.reading_age is not None and self.reading_age > OLD_READING

    @property
    def time_factor(self) -> float | None:
        """How many times as long as on the new lamp a dose takes."""
        return None if not self.of_new else 1 / self.of_new


def lamp(station: StationState, now: datetime, course: Course | None = None) -> Lamp:
    """The lamp of a station now.

    The fitted line counts where one was found with a decline that is no chance; otherwise, and
    where the last reading lies well below the line, the mean of that reading does. A reading that
    is set aside rules neither line nor relamp day; one below what was expected rules the time until
    it is settled, since a longer cure is the safe side.

    Args:
        course: the station's readings, judged, where that was done before.
    """
    course = course_of(station) if course is None else course
    last, line = course.last, course.line
    usage = station.hours_per_day(now)
    fallen = _is_fallen(line, last)
    is_fitted = line is not None and line.is_sure and not fallen
    trusted, low, high = _today(station, course, is_fitted)
    rests_on, today = last, trusted
    lowest = course.lowest
    if lowest is not None and (trusted is None or lowest.mean_mw_cm2 < trusted):
        rests_on, today, low, high, is_fitted = lowest, lowest.mean_mw_cm2, None, None, False
    new = course.new_mw_cm2
    return Lamp(
        mw_cm2=today,
        low_mw_cm2=low,
        high_mw_cm2=high,
        new_mw_cm2=new,
        least_share=rests_on.least_mw_cm2 / rests_on.mean_mw_cm2 if rests_on else 1.0,
        dark=rests_on.dark if rests_on else (),
        uniformity=rests_on.uniformity if rests_on else None,
        origin="fitted" if is_fitted else "last_reading",
        has_dropped=fallen or lowest is not None,
        aside=course.open,
        rests_on=rests_on,
        fit=line,
        of_new=today / new if today is not None and new else None,
        drift_per_1000h=1000 * line.alpha_per_h if line else None,
        hours_per_day=usage,
        relamping=_relamping(station, course, trusted, usage, now),
        reading_age=now - last.at if last else None,
        carried=_carried(station, course, rests_on),
    )


def _carried(
    station: StationState, course: Course, reading: OutputReading | None
) -> Mapping[str, float]:
    """Marked places that a reading leaves out: the centre alone says nothing of a dim corner."""
    centre = reading.positions.get("centre", 0.0) if reading else 0.0
    if reading is None or centre < LEAST_MW_CM2:
        return {}
    found: dict[str, float] = {}
    for earlier in course.counting:
        if (before := earlier.positions.get("centre", 0.0)) >= LEAST_MW_CM2:
            found |= {place: centre * one / before for place, one in earlier.positions.items()}
    wanted = set(MARKED[station.layout]) - set(reading.positions)
    return {place: value for place, value in found.items() if place in wanted}


def state_of(station: StationState, lamp: Lamp, now: datetime) -> State:
    """What a station asks for: a lead, or its lamp replaced, soon or at once, or measured."""
    if station.hold.is_held:
        return "held"
    if lamp.mw_cm2 is None:
        return "measure"
    relamping = lamp.relamping
    if relamping is not None and relamping.is_due:
        return "over"
    if lamp.is_reading_old or lamp.aside:
        return "measure"
    if relamping is not None and relamping.early_at is not None:
        return "soon" if relamping.early_at <= now + SOON else "ok"
    return "ok"


def _is_fallen(line: Fit | None, last: OutputReading | None) -> bool:
    if line is None or last is None:
        return False
    return last.mean_mw_cm2 < DROP * line.output_mw_cm2(last.hours_h)


def _today(
    station: StationState, course: Course, is_fitted: bool
) -> tuple[float | None, float | None, float | None]:
    if course.line is not None and is_fitted:
        line = course.line
        return (line.output_mw_cm2(station.hours_h), *line.interval_mw_cm2(station.hours_h))
    return (course.last.mean_mw_cm2 if course.last else None, None, None)


def _relamping(
    station: StationState,
    course: Course,
    today: float | None,
    usage: float | None,
    now: datetime,
) -> Relamping | None:
    new, line = course.new_mw_cm2, course.line
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
