"""A lamp's figures, its relamp day and what its readings are held against, at each boundary.

The limits are common practice without a source where `trust` and `lamp` say so; the figures here
are worked out by hand from them. The lines are made up so that their numbers are round.
"""

import math
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

import pytest

from app.domain.curing.book import STATION_BOOK
from app.domain.curing.lamp import Lamp, Relamping, lamp, state_of
from app.domain.curing.output import Fit, Point, chosen, fit
from app.domain.curing.stations import (
    HoursAt,
    LastCure,
    OutputReading,
    Relamp,
    StationState,
)
from app.domain.curing.trust import (
    Aside,
    Course,
    Expected,
    agrees,
    course_of,
    expected_of,
    with_reading,
)
from app.domain.curing.working_curve import WorkingCurve, fit_curve
from app.domain.roomlog.kinds.curing import Cure, Irradiance, Relamped, StationChanged
from app.domain.roomlog.kinds.incidents import StationHeld
from tests.domain.curing.rooms import COURSE, NOW, START, metered, readings, station

HOUR, DAY = timedelta(hours=1), timedelta(days=1)


def reading(
    mean: float, at: datetime = NOW, by: str = "", meter: str = "", **more: Any
) -> OutputReading:
    return OutputReading(at, 100.0, {"centre": mean}, by, radiometer=meter, **more)


def exact(alpha_per_h: float = 1e-4, **more: Any) -> Fit:
    """A line without scatter through 1 mW/cm2 at 0 h, tested for 1000 h and capped at 2000."""
    values: dict[str, Any] = {
        "alpha_per_h": alpha_per_h, "log_initial": 0.0, "scatter": 0.0, "middle_h": 500.0,
        "spread_h2": 1e6, "used": 6, "left_out": 0, "basis": "standard", "first_h": 0.0,
        "tested_h": 1000.0, "covered_h": 1000.0, "multiple": 2.0,
    }  # fmt: skip
    return Fit(**(values | more))


def at_hours(hours_h: float, **more: Any) -> StationState:
    """A station of 1 mW/cm2 when new, run 10 h a day until so many hours."""
    course = (HoursAt(NOW - 20 * DAY, hours_h - 200), HoursAt(NOW, hours_h))
    return replace(station(), hours_h=hours_h, course=course, new_mw_cm2=1.0, **more)


def of_line(line: Fit, hours_h: float, mean: float, **more: Any) -> Lamp:
    last = OutputReading(NOW - DAY, hours_h, {"centre": mean})
    course = Course(counting=(last,), new_mw_cm2=1.0, line=line)
    return lamp(at_hours(hours_h, **more), NOW, course)


def test_a_lamp_on_its_line_has_its_figures() -> None:
    # exp(-1e-4 * 500) = 0.951229; 5 % in 500 h, 10 % in 1000 h.
    found = of_line(exact(), 500.0, 0.95)
    output = pytest.approx(0.951229, abs=1e-6)
    assert (found.mw_cm2, found.low_mw_cm2, found.high_mw_cm2) == (output, output, output)
    assert (found.of_new, found.new_mw_cm2) == (output, 1.0)
    assert found.time_factor == pytest.approx(1.051271, abs=1e-6)
    assert found.drift_per_1000h == pytest.approx(0.1)
    assert (found.hours_per_day, found.reading_age) == (10, DAY)
    assert (found.origin, found.has_dropped, found.aside) == ("fitted", False, ())
    assert (found.least_share, found.dark, found.uniformity) == (1.0, (), None)
    assert found.rests_on is not None
    assert found.rests_on.mean_mw_cm2 == 0.95


def test_a_lamp_without_readings_has_none() -> None:
    found = lamp(station(), NOW)
    assert found == Lamp(
        None, None, None, 20.0, 1.0, (), None, "last_reading", False, (), None, None, None, None,
        None, None, None,
    )  # fmt: skip
    assert found.time_factor is None
    assert not found.is_reading_old
    assert state_of(station(), found, NOW) == "measure"


def test_a_reading_at_nine_tenths_of_the_line_has_not_dropped() -> None:
    flat = exact(0.0)  # 1 mW/cm2 throughout
    assert not of_line(flat, 500.0, 0.9).has_dropped
    assert of_line(flat, 500.0, 0.899).has_dropped
    double = exact(0.0, log_initial=math.log(2.0))
    assert [of_line(double, 500.0, mean).has_dropped for mean in (1.79, 1.81)] == [True, False]
    fallen = of_line(exact(), 500.0, 0.5)
    assert (fallen.mw_cm2, fallen.origin) == (0.5, "last_reading")
    assert (fallen.low_mw_cm2, fallen.high_mw_cm2) == (None, None)
    assert fallen.fit is not None


def test_the_weakest_reading_set_aside_rules_where_it_is_weaker() -> None:
    expected = Expected(1.0, 0.6, 1.25)
    weak = Aside(OutputReading(NOW, 500.0, {"centre": 0.5, "left": 0.3}), expected)
    weaker = Aside(OutputReading(NOW, 500.0, {"centre": 0.35}), expected)
    high = Aside(OutputReading(NOW, 500.0, {"centre": 9.0}), expected)
    course = Course(counting=(reading(1.0),), aside=(weak, weaker, high), new_mw_cm2=1.0)
    found = lamp(at_hours(500.0), NOW, course)
    assert (found.mw_cm2, found.origin, found.has_dropped) == (0.35, "last_reading", True)
    assert found.rests_on == weaker.reading
    assert found.aside == (weak, weaker, high)
    uneven = lamp(at_hours(500.0), NOW, replace(course, aside=(weak,)))
    assert (uneven.least_share, uneven.uniformity) == (pytest.approx(0.75), pytest.approx(0.6))
    sure = replace(course, line=exact(), aside=(weak,))
    assert lamp(at_hours(500.0), NOW, sure).low_mw_cm2 is None
    above = replace(course, counting=(reading(0.2),), aside=(weak,))
    assert lamp(at_hours(500.0), NOW, above).mw_cm2 == 0.2
    alone = lamp(at_hours(500.0), NOW, replace(course, counting=(), aside=(weak,)))
    assert (alone.mw_cm2, alone.relamping, alone.reading_age) == (0.4, None, None)


def test_the_relamp_day_is_that_of_the_line_at_this_usage() -> None:
    # ln(1 / 0.9) / 1e-4 = 1053.6 h; at 500 h and 10 h a day in 55.36 days. The cap at 2000 h is
    # 150 days off.
    found = of_line(exact(), 500.0, 0.95, relamp_percent=90.0).relamping
    assert found is not None
    assert found.level_mw_cm2 == pytest.approx(0.9)
    assert found.projected_h == found.reported_h == pytest.approx(1053.6, abs=0.01)
    assert found.early_h == found.late_h == pytest.approx(1053.6, abs=0.01)
    for at in (found.due_at, found.early_at, found.late_at):
        assert at is not None
        assert (at - NOW) / DAY == pytest.approx(55.361, abs=0.001)
    assert found.cap_at == NOW + 150 * DAY
    assert found.is_due is False


def test_beyond_the_cap_only_the_cap_is_said() -> None:
    # ln(1 / 0.8) / 1e-4 = 2231 h, beyond the cap of 2000 h.
    found = of_line(exact(), 500.0, 0.95, relamp_percent=80.0).relamping
    assert found is not None
    assert found.projected_h == pytest.approx(2231.4, abs=0.1)
    assert (found.reported_h, found.due_at, found.early_at) == (None, None, None)
    assert found.cap_at == NOW + 150 * DAY
    just = of_line(exact(math.log(2) / 2000), 500.0, 0.9, relamp_percent=50.0).relamping
    assert just is not None
    assert just.reported_h == just.projected_h == pytest.approx(2000)


def test_a_lamp_at_its_level_is_due_and_nothing_is_projected() -> None:
    at_level = lamp(at_hours(500.0), NOW, Course(counting=(reading(0.7),), new_mw_cm2=1.0))
    assert at_level.relamping == Relamping(
        0.7, None, None, None, None, None, None, None, None, True
    )
    above = lamp(at_hours(500.0), NOW, Course(counting=(reading(0.71),), new_mw_cm2=1.0))
    assert above.relamping is not None
    assert not above.relamping.is_due
    grown = of_line(exact(-1e-4), 500.0, 1.05).relamping
    assert grown == Relamping(0.7, None, None, None, None, None, None, None, None, False)
    # Already past the level by the line, and not by the reading that counts.
    unsure = of_line(exact(scatter=9.0, log_initial=-3.0), 500.0, 0.95).relamping
    assert unsure is not None
    assert unsure.projected_h == 0
    assert unsure.due_at == NOW


def test_a_day_needs_a_usage_and_lies_within_ten_years() -> None:
    still = replace(at_hours(500.0, relamp_percent=90.0), course=())
    course = Course(
        counting=(OutputReading(NOW - DAY, 500.0, {"centre": 0.95}),), new_mw_cm2=1.0, line=exact()
    )
    found = lamp(still, NOW, course).relamping
    assert found is not None
    assert found.reported_h == pytest.approx(1053.6, abs=0.01)
    assert (found.due_at, found.cap_at) == (None, None)
    # 10 h a day: 3650 days are 36 500 h.
    for cap_h, days in ((37_000.0, 3650.0), (37_001.0, None)):
        line = exact(1e-6, tested_h=cap_h, covered_h=0.0)
        reached = of_line(line, 500.0, 1.0, relamp_percent=99.0).relamping
        assert reached is not None
        assert reached.cap_at == (None if days is None else NOW + days * DAY)


def test_a_station_says_what_it_needs() -> None:
    state = station(*readings())
    now = lamp(state, NOW)
    assert state_of(state, now, NOW) == "ok"
    held = StationHeld(at=NOW, station="house1", reason="Smoke", cause="incident")
    assert state_of(station(*readings(), held), now, NOW) == "held"
    assert now.relamping is not None

    def said(**more: Any) -> str:
        return state_of(state, replace(now, relamping=replace(now.relamping, **more)), NOW)

    assert said(is_due=True) == "over"
    assert said(early_at=NOW + 28 * DAY) == "soon"
    assert said(early_at=NOW + 28 * DAY + timedelta(seconds=1)) == "ok"
    assert said(early_at=None) == "ok"
    assert state_of(state, replace(now, relamping=None), NOW) == "ok"
    assert state_of(state, replace(now, mw_cm2=None), NOW) == "measure"
    assert state_of(state, replace(now, reading_age=100 * DAY), NOW) == "ok"
    assert state_of(state, replace(now, reading_age=100 * DAY + HOUR), NOW) == "measure"
    doubt = Aside(reading(9.0), Expected(20.0, 12.0, 25.0))
    assert state_of(state, replace(now, aside=(doubt,)), NOW) == "measure"
    late = replace(now, reading_age=101 * DAY, relamping=replace(now.relamping, is_due=True))
    assert state_of(state, late, NOW) == "over"


@pytest.mark.parametrize(
    "new, before, expected",
    [
        (20.0, None, Expected(20.0, 6.0, 25.0)),
        (200.0, None, Expected(200.0, 60.0, 150.0)),  # nothing stronger is usual
        (600.0, None, Expected(600.0, 150.0, 150.0)),
        (150.0, 60.0, Expected(150.0, 45.0, 187.5)),  # the lamp before it vouches for more
        (None, 20.0, Expected(20.0, 6.0, 40.0)),
        (None, None, Expected(None, 1.0, 150.0)),
    ],
)
def test_a_first_reading_is_held_against_what_is_known(
    new: float | None, before: float | None, expected: Expected
) -> None:
    state = replace(station(), former_new_mw_cm2=before)
    assert expected_of(state, Course(new_mw_cm2=new), 0.0) == expected


def test_a_later_reading_is_held_against_the_one_before() -> None:
    one = Course(counting=(reading(16.0),), new_mw_cm2=20.0)
    found = expected_of(station(), one, 200.0)
    assert found == Expected(16.0, pytest.approx(9.6), 20.0)  # 0.6 and 1.25 times
    # No more than 1.25 times the output when new.
    assert expected_of(station(), replace(one, counting=(reading(22.0),)), 0.0).high_mw_cm2 == 25
    free = expected_of(station(), replace(one, counting=(reading(22.0),), new_mw_cm2=None), 0.0)
    assert free.high_mw_cm2 == 27.5
    # The range is never empty, however far the lamp has passed its output when new.
    far = expected_of(station(), replace(one, counting=(reading(60.0),)), 0.0)
    assert (far.low_mw_cm2, far.high_mw_cm2) == (36, 36)


def test_a_reading_is_held_against_a_sure_line_more_closely() -> None:
    # 20 mW/cm2 losing 5 % each 1000 h without scatter: at 7000 h 20 * exp(-0.35) = 14.094.
    course = [
        OutputReading(NOW - (7 - n) * DAY, 1000.0 * n, {"centre": 20 * math.exp(-0.05 * n)})
        for n in range(1, 7)
    ]
    found = expected_of(station(), Course(counting=tuple(course), new_mw_cm2=20.0), 7000.0)
    assert found.mw_cm2 == pytest.approx(14.0938, abs=1e-4)
    assert found.low_mw_cm2 == pytest.approx(0.9 * 14.0938, abs=1e-4)
    assert found.high_mw_cm2 == pytest.approx(1.1 * 14.0938, abs=1e-4)


def test_a_line_that_is_not_sure_gives_its_middle() -> None:
    # The geometric mean of 20, 10 and 20 is (4000)^(1/3) = 15.874; the line through them is flat.
    course = tuple(
        OutputReading(NOW, 1000.0 * n, {"centre": mean})
        for n, mean in ((1, 20.0), (2, 10.0), (3, 20.0))
    )
    found = expected_of(station(), Course(counting=course, new_mw_cm2=20.0), 4000.0)
    assert found.mw_cm2 == pytest.approx(15.874, abs=1e-3)
    assert found.low_mw_cm2 == pytest.approx(9.524, abs=1e-3)
    assert found.high_mw_cm2 == pytest.approx(19.843, abs=1e-3)


@pytest.mark.parametrize("mean, counts", [(6.0, True), (5.99, False), (25.0, True), (25.01, False)])
def test_the_limits_of_a_reading_belong_to_it(mean: float, counts: bool) -> None:
    found = course_of(replace(station(), readings=(reading(mean),)))
    assert (len(found.counting), len(found.aside)) == ((1, 0) if counts else (0, 1))
    assert with_reading(station(), reading(mean)) == (None if counts else found.aside[0])


def test_a_reading_set_aside_knows_its_side_and_how_far_it_is() -> None:
    expected = Expected(20.0, 12.0, 25.0)
    low, top = Aside(reading(9.0), expected), Aside(reading(60.0), expected)
    assert (low.is_high, low.ratio, low.can_repeat) == (False, 0.45, True)
    assert (top.is_high, top.ratio, top.can_repeat) == (True, 3.0, True)
    beyond = Aside(reading(60.1), expected)
    assert not beyond.can_repeat
    assert not Aside(reading(25.0), expected).is_high
    unknown = Aside(reading(900.0), Expected(None, 1.0, 150.0))
    assert (unknown.ratio, unknown.can_repeat) == (None, True)
    assert low.is_open


@pytest.mark.parametrize(
    "one, other, same",
    [
        (reading(20.0, by="Wren"), reading(24.0, NOW + HOUR, "Curlew"), True),  # 1.2 times
        (reading(24.0, by="Wren"), reading(20.0, NOW + HOUR, "Curlew"), True),
        (reading(20.0, by="Wren"), reading(24.1, NOW + HOUR, "Curlew"), False),
        (reading(24.1, by="Wren"), reading(20.0, NOW + HOUR, "Curlew"), False),
        (reading(20.0, by="Wren"), reading(20.0, NOW + HOUR / 6, "Curlew"), True),  # 10 min
        (reading(20.0, by="Wren"), reading(20.0, NOW + HOUR / 6.1, "Curlew"), False),
        (reading(20.0, by="Wren"), reading(20.0, NOW - HOUR / 6, "Curlew"), True),
        (reading(20.0, by="Wren"), reading(20.0, NOW + 12 * HOUR, "Wren"), True),
        (reading(20.0, by="Wren"), reading(20.0, NOW + 11.9 * HOUR, "wren"), False),
        (reading(20.0, by="Wren"), reading(20.0, NOW + HOUR), False),
        (reading(20.0, meter="R1"), reading(20.0, NOW + HOUR, meter="R2"), True),
        (reading(20.0, meter="R1"), reading(20.0, NOW + HOUR, meter="r1"), False),
    ],
)
def test_two_readings_agree_apart_and_independently(
    one: OutputReading, other: OutputReading, same: bool
) -> None:
    assert agrees(one, other) is same


def test_a_course_tells_its_readings() -> None:
    empty = Course()
    assert (empty.last, empty.lowest, empty.open) == (None, None, ())
    low = Aside(reading(5.0), Expected(20.0, 12.0, 25.0))
    settled = replace(low, is_open=False)
    course = Course(counting=(reading(18.0), reading(19.0)), aside=(low,))
    assert course.last == reading(19.0)
    assert course.lowest == reading(5.0)
    assert replace(course, aside=(settled,)).lowest is None
    assert course.is_aside(reading(5.0))
    assert not course.is_aside(reading(19.0))


def test_a_settled_jump_sets_the_output_when_new_only_where_it_is_far_higher() -> None:
    def after(first: float, second: float) -> Course:
        later = (reading(20.0, NOW - 9 * DAY), reading(first, NOW - DAY), reading(second, NOW))
        return course_of(replace(station(), readings=later))

    # 1.25 times the 20 mW/cm2 when new is no jump; above it the course starts anew.
    assert [one.mean_mw_cm2 for one in after(26.0, 27.0).counting] == [26.0, 27.0]
    assert after(26.0, 27.0).new_mw_cm2 == 26
    assert after(9.0, 9.5).new_mw_cm2 == 20
    assert after(26.0, 27.0).aside == ()
    left = course_of(
        replace(
            station(),
            readings=(
                reading(20.0, NOW - 9 * DAY), reading(184.0, NOW - 5 * DAY),
                reading(9.0, NOW - DAY), reading(9.5),
            ),
        )
    )  # fmt: skip
    assert [(one.reading.mean_mw_cm2, one.is_open) for one in left.aside] == [(184.0, False)]


def test_a_new_output_is_believed_up_to_three_times_the_lamp_before() -> None:
    for new, believed in ((60.0, 60.0), (60.1, None)):
        state = replace(station(), new_mw_cm2=new, former_new_mw_cm2=20.0)
        assert course_of(state).new_mw_cm2 == believed
    first = replace(station(), new_mw_cm2=None, first_mw_cm2=18.0)
    assert course_of(first).new_mw_cm2 is None
    assert course_of(replace(first, is_cut=True)).new_mw_cm2 == 18
    assert course_of(replace(first, readings=(reading(17.0),))).new_mw_cm2 == 17


def test_usage_is_counted_from_five_days_on_and_over_eight_weeks() -> None:
    def usage(*points: tuple[float, float]) -> float | None:
        course = tuple(HoursAt(NOW - days * DAY, hours) for days, hours in points)
        return replace(station(), course=course).hours_per_day(NOW)

    assert usage((5, 100), (0, 150)) == 10
    assert usage((4.99, 100), (0, 150)) is None
    assert usage((56, 100), (0, 660)) == 10
    assert usage((56.01, 0), (40, 100), (0, 500)) == 10
    assert usage((10, 100), (4, 160)) == 6  # to this day, not to the last point
    assert usage((10, 100), (0, 90)) == 0
    assert usage((10, 100), (0, 150), (-3, 900)) == 5
    assert usage() is None


def test_a_relamp_keeps_what_was_and_starts_anew() -> None:
    old = station(
        *readings(), metered(0.5, 6100),
        Cure(at=NOW - HOUR, station="house1", resin="slate", minutes=30.0, lot="L1"),
    )  # fmt: skip
    fresh = station(
        *readings(), metered(0.5, 6100),
        Cure(at=NOW - HOUR, station="house1", resin="slate", minutes=30.0, lot="L1"),
        Relamped(at=NOW, station="house1", by="Wren", hours_h=3.0, new_mw_cm2=22.0),
    )  # fmt: skip
    assert old.last_cure == LastCure(NOW - HOUR, "slate", 30.0, "L1", False)
    assert old.course[-1] == HoursAt(NOW - HOUR, 6100.5)
    assert fresh == replace(
        old, relamps=(Relamp(NOW, 6100.5, "Wren", ""),), readings=(), lamp_since_at=NOW,
        new_mw_cm2=22.0, first_mw_cm2=None, cures=0, former_new_mw_cm2=20.0, hours_h=3.0,
        meter=HoursAt(NOW, 3.0), course=(HoursAt(NOW, 3.0),),
    )  # fmt: skip


def test_a_new_lamp_has_none_of_the_words_about_the_old_one() -> None:
    old = replace(station(*readings()), accepted=("e1",), is_cut=True)
    fresh = STATION_BOOK.apply(old, Relamped(at=NOW, station="house1"))
    assert (fresh.accepted, fresh.is_cut) == ((), False)
    cured = STATION_BOOK.apply(old, Cure(at=NOW, station="house1", resin="slate", minutes=6.0))
    assert cured.last_cure == LastCure(NOW, "slate", 6.0, "", False)
    assert cured.hours_h == pytest.approx(6000.1)


def test_a_station_is_set_up_with_the_hours_of_its_lamp() -> None:
    state = station(hours_h=250.0, relamp_percent=80.0, has_turntable=True)
    assert state == StationState(
        "house1", "Lamp House 1", "led", 405.0, "centre_and_corners", 24, 60.0, 20.0, 80.0, 30.0,
        True, lamp_since_at=START, hours_h=250.0, meter=HoursAt(START, 250.0),
        course=(HoursAt(START, 250.0),),
    )  # fmt: skip
    assert station().hours_h == 0
    changed = station(StationChanged(at=NOW, station="house1", chamber_temperature_c=0.0))
    assert changed.chamber_temperature_c == 0
    assert station(relamp_percent=None).relamp_percent == 70
    assert station(longest_minutes=None).longest_minutes == 60


def test_a_day_keeps_its_first_and_its_last_hours() -> None:
    state = station(metered(1.2, 10.0), metered(0.2, 20.0), metered(0.1, 21.0), metered(0, 22.0))
    assert [point.hours_h for point in state.course] == [0, 10, 22]
    second = station(metered(0.2, 20.0), metered(0.1, 21.0))
    assert [point.hours_h for point in second.course] == [0, 21]
    # The set-up stays, also where more is said on its day.
    first = station(metered((NOW - START) / DAY - 0.1, 5.0))
    assert [point.hours_h for point in first.course] == [0, 5]


def test_a_reading_in_the_book_is_as_it_was_entered() -> None:
    entry = Irradiance(
        at=NOW, station="house1", centre_mw_cm2=20.0, left_mw_cm2=0.001, right_mw_cm2=0.0005,
        hours_h=40.0, by="Wren", id="e1", radiometer="R1",
    )  # fmt: skip
    (found,) = station(entry).readings
    places = {"centre": 20.0, "left": 0.001, "right": 0.0005}
    assert found == OutputReading(NOW, 40.0, places, "Wren", "e1", "R1")
    assert found.dark == ("right",)
    assert (found.least_mw_cm2, found.mean_mw_cm2) == (0.0005, pytest.approx(6.667167, abs=1e-6))
    two = OutputReading(NOW, 0.0, {"centre": 20.0, "left": 15.0})
    assert two.uniformity == 0.75
    assert station(entry).first_mw_cm2 == found.mean_mw_cm2
    assert station(replace(entry, radiometer=None)).readings[0].radiometer == ""


def test_at_the_least_light_a_reading_is_kept() -> None:
    assert len(station(Irradiance(at=NOW, station="house1", centre_mw_cm2=0.001)).readings) == 1
    assert station(Irradiance(at=NOW, station="house1", centre_mw_cm2=0.0009)).readings == ()
    many = station(*readings([(n, 1.0) for n in range(200)]))
    assert (len(many.readings), many.is_cut) == (200, False)
    assert station(*readings([(n, 1.0) for n in range(201)])).is_cut


def test_the_hours_that_count_follow_the_standard_at_its_boundaries() -> None:
    # IES TM-21-11, from memory: from 1000 h on; of a test of up to 10 000 h the last 5000 h, of a
    # longer one the last half.
    def hours(*course: float) -> list[float]:
        return [point.hours_h for point in chosen([Point(h, 1.0) for h in course])]

    assert hours(900, 1000, 2000, 3000) == [1000, 2000, 3000]
    assert hours(900, 1000, 2000) == [900, 1000, 2000]
    assert hours(3000, 2000, 4999, 5000, 10_000) == [2000, 3000, 4999, 5000, 10_000]
    assert hours(2000, 4999, 5000, 8000, 10_000) == [5000, 8000, 10_000]
    assert hours(5000, 5999, 6000, 8000, 12_000) == [6000, 8000, 12_000]
    # Fewer than three of the last: all from 1000 h on.
    assert hours(1000, 2000, 3000, 9000) == [1000, 2000, 3000, 9000]


def test_a_line_says_how_far_it_stands_on_the_standard() -> None:
    # LM-80 with TM-21-11, from memory: 6000 h, six readings from 1000 h on.
    def line(*course: float) -> Fit:
        found = fit([Point(h, math.exp(-1e-5 * h)) for h in course], 24)
        assert found is not None
        return found

    assert line(1000, 2000, 3000, 4000, 5000, 6000).basis == "standard"
    assert line(1000, 2000, 3000, 4000, 5000, 5999).basis == "below_standard"
    assert line(1000, 2000, 3000, 4000, 6000).basis == "below_standard"
    assert line(1000, 2000, 3000, 6000).basis == "few"
    watched = line(1000, 2000, 3000, 4000, 5000, 6000)
    assert (watched.first_h, watched.tested_h, watched.covered_h) == (1000, 6000, 6000)
    assert (watched.used, watched.left_out, watched.multiple) == (6, 0, 6.0)
    late = line(1001, 2000, 3000, 4000, 5000, 7001)
    assert (late.covered_h, late.cap_h) == (6000, 7001 + 5 * 6000)


def test_a_line_without_scatter_is_met_at_one_hour() -> None:
    # ln(1 / 0.9) / 1e-4 = 1053.6 h.
    early, late = exact().hours_within(0.9)
    assert early == late == pytest.approx(1053.605, abs=1e-3)
    assert exact().hours_within(1.0) == (500.0, 500.0)  # not before the middle of its readings
    assert exact(0.0).hours_within(0.9) == (None, None)
    assert exact().spread(500.0) == 0
    # One more reading at 1000 h: 0.1 * sqrt(1 + 1/6 + 500^2 / 1e6) = 0.11902.
    assert exact(scatter=0.1).spread(1000.0) == pytest.approx(0.11902, abs=1e-5)
    assert exact().middle_mw_cm2 == pytest.approx(math.exp(-0.05))


def test_the_interval_of_the_hours_is_that_of_students_distribution() -> None:
    # Quantile 2.13185 of 4 degrees of freedom (90 % two-sided, tables). At 900 h the lower line is
    # -0.09 - 2.13185 s sqrt(1/6 + 400^2 / 1e6) = ln 0.9 with s = 0.012607; at 1300 h the upper one
    # -0.13 + 2.13185 s sqrt(1/6 + 800^2 / 1e6) = ln 0.9 with s = 0.012868.
    early, _ = exact(scatter=0.012607).hours_within(0.9)
    _, late = exact(scatter=0.012868).hours_within(0.9)
    assert early == pytest.approx(900, abs=0.1)
    assert late == pytest.approx(1300, abs=0.1)


def test_scattered_readings_widen_the_range_either_way_alike() -> None:
    course = [
        OutputReading(NOW - (7 - n) * DAY, 1000.0 * n, {"centre": 20 * math.exp(-0.05 * n) * odd})
        for n, odd in zip(range(1, 7), (1.03, 0.97, 1.03, 0.97, 1.03, 0.97), strict=True)
    ]
    found = expected_of(station(), Course(counting=tuple(course), new_mw_cm2=20.0), 6500.0)
    assert found.mw_cm2 is not None
    low, high = found.low_mw_cm2 / found.mw_cm2, found.high_mw_cm2 / found.mw_cm2
    assert 1.1 < high < 1.25
    assert low * high == pytest.approx(1)


def test_a_plausible_reading_closes_the_question() -> None:
    later = (reading(20.0, NOW - 2 * DAY), reading(184.0, NOW - DAY), reading(19.9))
    (aside,) = course_of(replace(station(), readings=later)).aside
    assert aside.is_open is False


def test_a_working_curve_begins_at_its_critical_exposure() -> None:
    curve = WorkingCurve(0.2, 10.0)
    assert (curve.depth_mm(10.0), curve.depth_mm(9.0)) == (0, 0)
    assert curve.depth_mm(10.0 * math.e) == pytest.approx(0.2)
    # Through 0.1 mm at 0.5 mJ/cm2 and 0.3 mm at e times that: D_p is 0.2 mm, E_c 0.5 / sqrt(e).
    faint = fit_curve([(0.5, 0.1), (0.5 * math.e, 0.3)])
    assert faint.penetration_mm == pytest.approx(0.2)
    assert faint.critical_mj_cm2 == pytest.approx(0.303265, abs=1e-6)


@pytest.mark.parametrize(
    "points, words",
    [
        ([(math.inf, 0.1), (20.0, 0.2)], "Exposures and depths must be greater than zero."),
        ([(10.0, math.nan), (20.0, 0.2)], "Exposures and depths must be greater than zero."),
        ([(10.0, 0.0), (20.0, 0.2)], "Exposures and depths must be greater than zero."),
        ([(10.0, 0.1)], "A curve needs at least two different exposures."),
        ([(10.0, 0.2), (20.0, 0.1)], "The depths must increase with exposure. These do not."),
        (
            [(10.0, 0.2), (20.0, 0.2000001)],
            "No curve fits these points. The depths hardly increase with exposure.",
        ),
    ],
)
def test_points_without_a_curve_are_refused_in_words(
    points: list[tuple[float, float]], words: str
) -> None:
    with pytest.raises(ValueError, match=r"\.$") as caught:
        fit_curve(points)
    assert str(caught.value) == words


def test_the_course_of_the_rooms_lamp_gives_its_relamp_hours() -> None:
    # The same line as in test_output: L70 = 26 757 h, within 36 000 h.
    found = lamp(station(*readings(COURSE), metered(0, 6100), metered(40, 5700)), NOW).relamping
    assert found is not None
    assert found.reported_h == pytest.approx(26_757, abs=10)
