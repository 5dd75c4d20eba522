"""Readings that a lamp can hardly give are set aside until they are settled.

The limits are common practice without a source (`app/domain/curing/trust.py`); what is checked is
that the time, the line and the relamp day stay on the safe side whatever was typed.
"""

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import permutations
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.curing.dose import cure_today
from app.domain.curing.lamp import Lamp, lamp, state_of
from app.domain.curing.stations import OutputReading, StationState
from app.domain.curing.trust import course_of, with_reading
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import Irradiance, ReadingAccepted, Relamped, StationChanged
from tests.domain.curing.rooms import COURSE, NOW, readings, recipe, station

STEADY = readings(COURSE)  # 20 mW/cm2 when new, 18.4 after 6000 h


def reading(mean: float, hours_ago: float = 1, **more: Any) -> Irradiance:
    at = NOW - timedelta(hours=hours_ago)
    return Irradiance(at=at, station="house1", centre_mw_cm2=mean, **more)


def now(*entries: Entry, **more: Any) -> Lamp:
    return lamp(station(*entries, **more), NOW)


def means(state: StationState) -> list[float]:
    return [round(one.mean_mw_cm2, 1) for one in course_of(state).counting]


@pytest.mark.parametrize("mean", [184.0, 156.0, 40.0, 24.5])
def test_a_reading_too_high_changes_neither_time_nor_line_nor_relamp_day(mean: float) -> None:
    before, after = now(*STEADY), now(*STEADY, reading(mean))
    assert after.mw_cm2 == pytest.approx(before.mw_cm2)
    assert after.of_new == pytest.approx(before.of_new)
    assert after.of_new is not None
    assert after.of_new < 1
    assert after.fit == before.fit
    assert after.relamping == before.relamping
    assert [one.reading.mean_mw_cm2 for one in after.aside] == [mean]
    assert after.aside[0].is_high
    state = station(*STEADY, reading(mean))
    assert state_of(state, after, NOW) == "measure"
    today = cure_today(state, after, recipe())
    assert today.likely_seconds == pytest.approx(6000 / (before.mw_cm2 or 0))
    assert any("set aside" in remark for remark in today.remarks)


def test_what_two_measurements_differ_by_is_not_set_aside() -> None:
    for mean in (16.7, 18.0, 19.5, 20.1):
        found = now(*STEADY, reading(mean))
        assert found.aside == (), mean
        assert found.rests_on is not None
        assert found.rests_on.mean_mw_cm2 == mean


def test_a_reading_above_a_sure_line_shortens_no_cure_until_it_repeats() -> None:
    before, after = now(*STEADY), now(*STEADY, reading(21.5))
    assert [one.is_high for one in after.aside] == [True]
    assert (after.mw_cm2, after.fit) == (before.mw_cm2, before.fit)


def test_a_reading_too_low_rules_the_time_at_once_but_not_line_and_relamp_day() -> None:
    before, after = now(*STEADY), now(*STEADY, reading(9.0))
    assert after.mw_cm2 == 9.0
    assert after.has_dropped
    assert (after.fit, after.relamping) == (before.fit, before.relamping)
    today = cure_today(station(*STEADY, reading(9.0)), after, recipe())
    assert today.likely_seconds == pytest.approx(6000 / 9)
    assert any("To be safe, the time uses it" in remark for remark in today.remarks)
    weak = station(*STEADY, reading(1.84))
    refused = cure_today(weak, lamp(weak, NOW), recipe())
    assert "Today the dose would take 59.8 min" in refused.refusals[0]


def test_a_plausible_reading_after_it_contradicts_it() -> None:
    found = now(*STEADY, reading(184.0, 3), reading(18.3, 1))
    assert found.aside == ()
    state = station(*STEADY, reading(184.0, 3), reading(18.3, 1))
    assert [one.reading.mean_mw_cm2 for one in course_of(state).aside] == [184.0]
    assert 184.0 not in means(state)


def test_a_second_independent_reading_settles_a_jump_and_the_course_starts_anew() -> None:
    cleaned = (reading(27.0, 20, by="Wren"), reading(26.0, 1, by="Curlew"))
    state = station(*STEADY, *cleaned)
    assert means(state) == [27.0, 26.0]
    found = lamp(state, NOW)
    assert (found.mw_cm2, found.fit, found.aside) == (26.0, None, ())
    assert found.new_mw_cm2 == 27.0  # more than when it was called new: that was no new output
    fallen = station(*STEADY, reading(9.0, 20), reading(9.2, 1))
    assert means(fallen) == [9.0, 9.2]
    assert lamp(fallen, NOW).of_new == pytest.approx(9.2 / 20)
    relamping = lamp(fallen, NOW).relamping
    assert relamping is not None
    assert relamping.is_due


@pytest.mark.parametrize(
    "first, second",
    [
        ({}, {"hours_ago": 1}),  # nobody knows who
        ({"by": "Wren"}, {"hours_ago": 1, "by": "wren"}),
        ({"by": "Wren"}, {"hours_ago": 1.9, "by": "Curlew"}),  # minutes later, from one display
        ({"by": "Wren", "radiometer": "R1"}, {"hours_ago": 1, "by": "Wren", "radiometer": "R1"}),
        ({"by": "Wren"}, {"hours_ago": 1, "by": "Curlew", "mean": 34.0}),  # another value
    ],
)
def test_a_second_reading_that_is_not_independent_settles_nothing(
    first: dict[str, Any], second: dict[str, Any]
) -> None:
    values: dict[str, Any] = {"mean": 26.5, **second}
    state = station(*STEADY, reading(27.0, 2, **first), reading(**values))
    assert lamp(state, NOW).mw_cm2 == pytest.approx(now(*STEADY).mw_cm2)
    assert len(lamp(state, NOW).aside) == 2


def test_another_person_another_meter_or_another_day_is_independent() -> None:
    for first, second in (
        (reading(27.0, 2, by="Wren"), reading(27.0, 1, by="Curlew")),
        (reading(27.0, 2, radiometer="R1"), reading(27.0, 1, radiometer="R2")),
        (reading(27.0, 20), reading(27.0, 1)),
    ):
        assert means(station(*STEADY, first, second)) == [27.0, 27.0]


def test_a_unit_mixed_up_twice_still_rules_nothing() -> None:
    twice = (reading(184.0, 20, by="Wren"), reading(184.0, 1, by="Curlew"))
    found = now(*STEADY, *twice)
    assert found.mw_cm2 == pytest.approx(now(*STEADY).mw_cm2)
    assert [one.can_repeat for one in found.aside] == [False, False]


def test_the_word_of_a_lead_lets_a_reading_count() -> None:
    other = reading(184.0, 2, id="e7", radiometer="R2")
    word = ReadingAccepted(
        at=NOW, station="house1", reading="e7", lead="Curlew", reason="Another head"
    )
    state = station(*STEADY, other, word)
    assert means(state) == [184.0]
    assert lamp(state, NOW).of_new == pytest.approx(1)
    assert lamp(station(*STEADY, other), NOW).mw_cm2 == pytest.approx(now(*STEADY).mw_cm2)


def test_a_new_lamp_is_no_jump() -> None:
    relamp = Relamped(at=NOW - timedelta(hours=2), station="house1")
    state = station(*STEADY, relamp, reading(30.0))
    assert means(state) == [30.0]
    assert lamp(state, NOW).of_new == 1
    mixed = station(*STEADY, relamp, reading(200.0))  # the lamp before gave 20 when new
    assert lamp(mixed, NOW).mw_cm2 is None
    refused = cure_today(mixed, lamp(mixed, NOW), recipe())
    assert "Its only reading is set aside" in refused.refusals[0]


def test_a_new_lamp_entered_in_the_wrong_unit_does_not_vouch_for_a_reading_in_it() -> None:
    relamp = Relamped(at=NOW - timedelta(hours=22), station="house1", new_mw_cm2=200.0)
    twice = (reading(195.0, 20, by="Wren"), reading(196.0, 1, by="Curlew"))
    found = lamp(station(*STEADY, relamp, *twice), NOW)  # the lamp before gave 20 when new
    assert found.mw_cm2 is None
    assert [one.can_repeat for one in found.aside] == [False, False]
    assert lamp(station(*STEADY, relamp, reading(19.5)), NOW).of_new == 1
    stronger = replace(relamp, new_mw_cm2=45.0)
    assert lamp(station(*STEADY, stronger, reading(44.0)), NOW).mw_cm2 == 44.0
    fresh = station(reading(390.0), new_mw_cm2=400.0)  # nothing else to hold it against
    assert lamp(fresh, NOW).mw_cm2 is None


def test_a_first_reading_is_held_against_the_output_when_new_or_the_usual_range() -> None:
    assert lamp(station(reading(200.0)), NOW).mw_cm2 is None  # 20 when new was entered
    assert lamp(station(reading(2.0)), NOW).mw_cm2 == 2.0  # low: the safe side
    unknown: dict[str, Any] = {"new_mw_cm2": None}
    assert lamp(station(reading(20.0), **unknown), NOW).mw_cm2 == 20.0
    assert lamp(station(reading(400.0), **unknown), NOW).mw_cm2 is None
    strong = station(reading(400.0, 20), reading(390.0), **unknown)
    assert lamp(strong, NOW).mw_cm2 == 390.0
    dim = station(reading(0.2), **unknown)
    assert (lamp(dim, NOW).mw_cm2, len(lamp(dim, NOW).aside)) == (0.2, 1)


def test_an_output_when_new_entered_wrong_is_mended_by_changing_it() -> None:
    wrong = [*readings(COURSE[:3], 20.0)]
    assert lamp(station(*wrong, new_mw_cm2=2.0), NOW).mw_cm2 is None
    change = StationChanged(at=NOW, station="house1", new_mw_cm2=20.0)
    mended = station(*wrong, change, new_mw_cm2=2.0)
    assert len(course_of(mended).counting) == 3
    assert lamp(mended, NOW).aside == ()


def test_withdrawn_late_and_corrected_readings_give_what_the_right_order_gives() -> None:
    odd, plain = reading(184.0, 3), reading(18.3, 1)
    ordered = station(*STEADY, odd, plain)
    for some in permutations((STEADY[0], STEADY[5], odd, plain)):
        rest = [entry for entry in STEADY if entry not in some]
        assert course_of(station(*some, *rest)) == course_of(ordered)
    assert course_of(station(*STEADY, plain)).counting == course_of(ordered).counting


def test_a_reading_about_to_be_entered_is_judged_as_it_will_be() -> None:
    state = station(*STEADY)

    def judged(mean: float, at: datetime = NOW) -> Any:
        return with_reading(state, OutputReading(at, state.hours_h, {"centre": mean}))

    assert judged(18.3) is None
    doubt = judged(184.0)
    assert doubt is not None
    assert doubt.ratio == pytest.approx(10, rel=0.01)
    assert judged(184.0, NOW - timedelta(days=150)) is None  # contradicted by those after it


@given(
    st.lists(st.floats(0.001, 5000), min_size=1, max_size=8),
    st.lists(st.booleans(), min_size=8, max_size=8),
)
def test_whatever_is_typed_within_one_look_the_light_is_never_taken_for_stronger(
    typed: list[float], later: list[bool]
) -> None:
    # One person, one evening: none of these readings is independent of another.
    safe = now(*STEADY).mw_cm2 or 0.0
    odd = [
        reading(mean, 8 - 0.9 * index, by="Wren")
        for index, mean in enumerate(typed)
        if mean > 25.0 or later[index]
    ]
    found = now(*STEADY, *[one for one in odd if not 16.5 < one.centre_mw_cm2 <= 25.0])
    assert found.mw_cm2 is not None
    assert found.mw_cm2 <= safe * 1.000001
    assert found.of_new is not None
    assert found.of_new <= 1


def test_a_dark_place_is_a_finding_and_no_light_at_all_is_none() -> None:
    dark = Irradiance(
        at=NOW, station="house1", centre_mw_cm2=24.0, back_left_mw_cm2=0.0, front_left_mw_cm2=26.0
    )
    found = now(*STEADY, dark)
    assert (found.dark, found.least_share, found.uniformity) == (("back_left",), 0, 0)
    today = cure_today(station(*STEADY, dark), found, recipe())
    assert "No light at back left. Put no part there." in today.remarks
    nothing = Irradiance(at=NOW, station="house1", centre_mw_cm2=0.0, front_mw_cm2=0.0)
    (problem,) = nothing.problems()
    assert "hold the station" in problem.message
    assert now(*STEADY, nothing).mw_cm2 == now(*STEADY).mw_cm2  # a log that says so all the same
