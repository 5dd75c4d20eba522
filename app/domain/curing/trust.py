"""Which radiometer readings of a lamp count, and which are set aside until they are settled.

A lamp gives what its course lets expect, within what two measurements differ by; it never gives
more than it gave when new. A reading outside of that is kept, and set aside: of the time, the line
and the relamp day the readings before it go on to tell. Two things settle it: a second reading that
agrees and was made independently, or the word of a lead. Then the lamp's course starts anew from
there. A reading far above what was expected is not settled by a second one: who reads the wrong
unit once reads it again, and parts would be undercured.

All of it follows from the readings in the order of their time, so late, corrected and withdrawn
ones give what the right order would have given.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from app.domain.curing.output import Fit, Point, fit
from app.domain.curing.stations import OutputReading, StationState

# Common practice, no source, all of them: what hand-held meters of one make differ by, with where
# and how they are laid in.
HIGH = 1.25
HIGHEST = 1.5  # however much the readings scatter
RISE = 1.1  # above a line that is sure: a lamp does not grow
LOW = 0.6
DROP = 0.9  # below a line that is sure: dirt or a dead row, not age
SPREADS = 3.0
FAR = 3.0  # above it, units were mixed up or the lamp is another
FIRST_LOW = 0.3  # of a used lamp's first reading against its output when new
OTHER_LAMP = 2.0  # a new lamp against the one before it
AGREEMENT = 1.2
USUAL_MW_CM2 = (1.0, 150.0)  # at the parts' place of a chamber
APART = timedelta(minutes=10)
ANOTHER_DAY = timedelta(hours=12)


@dataclass(frozen=True)
class Expected:
    """What a reading is held against.

    Attributes:
        mw_cm2: the middle; None where only the usual range is known.
        low_mw_cm2, high_mw_cm2: outside of them a reading is set aside.
    """

    mw_cm2: float | None
    low_mw_cm2: float
    high_mw_cm2: float


@dataclass(frozen=True)
class Aside:
    """A reading that is set aside.

    Attributes:
        is_open: nothing that counts was measured since: the question stands.
        can_repeat: a second, independent reading that agrees settles it.
    """

    reading: OutputReading
    expected: Expected
    is_open: bool = True

    @property
    def is_high(self) -> bool:
        """It is above what was expected; otherwise it is below."""
        return self.reading.mean_mw_cm2 > self.expected.high_mw_cm2

    @property
    def ratio(self) -> float | None:
        """How many times the expected output it is."""
        middle = self.expected.mw_cm2
        return None if middle is None else self.reading.mean_mw_cm2 / middle

    @property
    def can_repeat(self) -> bool:
        """A second reading may settle it."""
        return not self.is_high or self.ratio is None or self.ratio <= FAR


@dataclass(frozen=True)
class Course:
    """The readings of a station's lamp, judged.

    Attributes:
        counting: those that count, since the last jump that was settled, oldest first.
        aside: those set aside, oldest first.
        new_mw_cm2: mean output when new: as entered, else of the first reading that counts.
        line: the exponential through those that count; None with too few.
    """

    counting: tuple[OutputReading, ...] = ()
    aside: tuple[Aside, ...] = ()
    new_mw_cm2: float | None = None
    line: Fit | None = None

    @property
    def last(self) -> OutputReading | None:
        """The latest reading that counts."""
        return self.counting[-1] if self.counting else None

    @property
    def open(self) -> tuple[Aside, ...]:
        """Those set aside that nothing has settled or contradicted yet."""
        return tuple(one for one in self.aside if one.is_open)

    @property
    def lowest(self) -> OutputReading | None:
        """The weakest reading set aside as too low: until it is settled the time rests on it."""
        low = [one.reading for one in self.open if not one.is_high]
        return min(low, key=lambda reading: reading.mean_mw_cm2, default=None)

    def is_aside(self, reading: OutputReading) -> bool:
        """That reading is set aside."""
        return any(one.reading == reading for one in self.aside)


def course_of(station: StationState) -> Course:
    """The readings of the lamp in a station, judged one after the other."""
    course = Course(new_mw_cm2=_stated(station))
    for reading in station.readings:
        course = _with(station, course, reading)
    return replace(course, line=_line(station, course.counting))


def with_reading(station: StationState, reading: OutputReading) -> Aside | None:
    """How a reading about to be entered would be set aside; None where it counts."""
    ordered = sorted((*station.readings, reading), key=lambda one: one.at)
    course = course_of(replace(station, readings=tuple(ordered)))
    return next((one for one in course.open if one.reading == reading), None)


def _stated(station: StationState) -> float | None:
    """The output when new where it is known before the readings kept here.

    One far above the lamp before it is no reference: a wrong unit explains it, and would explain
    the first reading as well.
    """
    new, before = station.new_mw_cm2, station.former_new_mw_cm2
    if new is not None and before is not None and new > FAR * before:
        return None
    return station.new_output if new is not None or station.is_cut else None


def _with(station: StationState, course: Course, reading: OutputReading) -> Course:
    expected = expected_of(station, course, reading.hours_h)
    mean = reading.mean_mw_cm2
    if expected.low_mw_cm2 <= mean <= expected.high_mw_cm2:
        return Course(
            counting=(*course.counting, reading),
            aside=tuple(replace(one, is_open=False) for one in course.aside),
            new_mw_cm2=mean if course.new_mw_cm2 is None else course.new_mw_cm2,
        )
    doubt = Aside(reading, expected)
    agreeing = [one for one in course.open if agrees(one.reading, reading)]
    if reading.entry and reading.entry in station.accepted:
        return _settled(course, (), reading)
    if doubt.can_repeat and agreeing:
        return _settled(course, tuple(one.reading for one in agreeing), reading)
    return replace(course, aside=(*course.aside, doubt))


def _settled(course: Course, before: tuple[OutputReading, ...], reading: OutputReading) -> Course:
    """The course starts anew: what came before was another level."""
    counting = (*before, reading)
    first, new = counting[0].mean_mw_cm2, course.new_mw_cm2
    left = [one for one in course.aside if one.reading not in before]
    return Course(
        counting=counting,
        aside=tuple(replace(one, is_open=False) for one in left),
        new_mw_cm2=first if new is None or first > HIGH * new else new,
    )


def expected_of(station: StationState, course: Course, hours_h: float) -> Expected:
    """What a reading at those hours of the lamp is held against."""
    new, last = course.new_mw_cm2, course.last
    if last is None:
        return _of_first(station, new)
    line = _line(station, course.counting)
    if line is not None and line.is_sure:
        middle, spread = line.output_mw_cm2(hours_h), math.exp(SPREADS * line.spread(hours_h))
        low, high = max(min(DROP, 1 / spread), LOW), min(max(RISE, spread), HIGHEST)
    else:
        middle = line.middle_mw_cm2 if line is not None else last.mean_mw_cm2
        low, high = LOW, HIGH
    most = high * middle if new is None else min(high * middle, HIGH * new)
    return Expected(middle, low * middle, max(most, low * middle))


def _of_first(station: StationState, new: float | None) -> Expected:
    """Of a lamp without a reading that counts: output when new, the lamp before it, the usual."""
    before = station.former_new_mw_cm2
    if new is not None:
        top = HIGH * new if before is not None else min(HIGH * new, USUAL_MW_CM2[1])
        return Expected(new, min(FIRST_LOW * new, top), top)
    if before is not None:
        return Expected(before, FIRST_LOW * before, OTHER_LAMP * before)
    return Expected(None, *USUAL_MW_CM2)


def agrees(one: OutputReading, other: OutputReading) -> bool:
    """Two readings that say the same and do not stem from one look at one meter.

    They lie apart in time, and are by another person, with another meter, or of another day.
    """
    ratio = one.mean_mw_cm2 / other.mean_mw_cm2
    apart = abs(other.at - one.at)
    if apart < APART or not 1 / AGREEMENT <= ratio <= AGREEMENT:
        return False
    return (
        apart >= ANOTHER_DAY
        or _differ(one.by, other.by)
        or _differ(one.radiometer, other.radiometer)
    )


def _differ(one: str, other: str) -> bool:
    return bool(one and other) and one.casefold() != other.casefold()


def _line(station: StationState, readings: Sequence[OutputReading]) -> Fit | None:
    points = [Point(one.hours_h, one.mean_mw_cm2) for one in readings]
    return fit(points, station.light_sources)
