"""The placement map: a cure is timed by its weakest place, with the meter taken against it."""

import math
from datetime import timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from app.domain.curing.dose import cure_today
from app.domain.curing.lamp import lamp
from app.domain.curing.placement import METER, Placement, placement, with_meter
from app.domain.roomlog.kinds.curing import Irradiance, StationChanged
from tests.domain.curing.rooms import COURSE, NOW, metered, readings, recipe, station

CORNERS = ("back_left", "back_right", "front_left", "front_right")
K_90 = 1.6449  # standard deviations of a 90 % interval, table of the normal distribution


def chamber(centre: float, corners: float | None = None, days_ago: float = 1, **more: Any) -> Any:
    at = {} if corners is None else {f"{place}_mw_cm2": corners for place in CORNERS}
    return Irradiance(
        at=NOW - timedelta(days=days_ago), station="house1", centre_mw_cm2=centre,
        hours_h=more.pop("hours_h", 100.0), **(at | more),
    )  # fmt: skip


def map_of(*entries: Any, **more: Any) -> Placement:
    return placement(lamp(station(*entries, **more), NOW))


def test_a_dose_worked_by_hand_reaches_the_weakest_place() -> None:
    """Centre 22, corners 19.5, so a mean of 20: 9000 mJ/cm2 at 19.5 mW/cm2 take 461.54 s; the
    meter may read 10 % too much, so 507.69 s. By the mean it were 450 s, and the corners of a
    chamber read 10 % too bright would get 450 * 19.5 / 1.1 = 7977 mJ/cm2."""
    state = station(chamber(22.0, 19.5))
    found = cure_today(state, lamp(state, NOW), recipe(dose_mj_cm2=9000.0))
    assert found.likely_seconds == pytest.approx(461.54, abs=0.01)
    assert found.seconds == pytest.approx(507.69, abs=0.01)
    assert found.weakest is not None
    assert found.weakest.least_dose_mj_cm2(found.seconds) == pytest.approx(9000)
    assert found.weakest.least_dose_mj_cm2(450) == pytest.approx(7977.3, abs=0.1)


def test_the_interval_of_a_place_agrees_with_the_uncertainties_package() -> None:
    """One meter reads all places: its error is one variable, so it cancels in the shares and counts
    once with the level (JCGM 100:2008, 5.2.2); the line's error is another."""
    entries = [
        chamber(22.0 * share, 19.5 * share, 1 + 100 * (5 - index), hours_h=hours)
        for index, (hours, share) in enumerate(COURSE)
    ]  # fmt: skip
    state = station(*entries, metered(0, 8000))
    today = lamp(state, NOW)
    assert today.mw_cm2 is not None
    assert today.low_mw_cm2 is not None
    line_sd = math.log(today.mw_cm2 / today.low_mw_cm2) / K_90
    meter, line = ufloat(1, math.log1p(METER) / K_90), ufloat(1, line_sd)
    true = {"centre": 22.0 * meter, **dict.fromkeys(CORNERS, 19.5 * meter)}
    mean = sum(true.values()) / len(true)
    level = today.mw_cm2 * line * meter
    for spot in placement(today).spots:
        expected = level * (true[spot.place] / mean)
        assert spot.mw_cm2 == pytest.approx(expected.nominal_value)
        sd = math.log(spot.high_mw_cm2 / spot.low_mw_cm2) / 2 / K_90
        assert sd == pytest.approx(expected.std_dev / expected.nominal_value, rel=0.001)


def test_a_place_left_out_keeps_its_share_of_the_centre() -> None:
    """Centre 20 and corners 12, then the centre alone at 15: the corners get 15 * 12 / 20 = 9."""
    found = map_of(chamber(20.0, 12.0, 2), chamber(15.0))
    assert found.weakest is not None
    assert found.weakest.mw_cm2 == pytest.approx(9)
    assert {one.place: one.is_carried for one in found.spots} == {
        "centre": False, **dict.fromkeys(CORNERS, True),
    }  # fmt: skip
    assert not found.is_one_place


def test_a_place_that_is_not_marked_any_more_is_not_carried() -> None:
    fewer = StationChanged(at=NOW - timedelta(days=1.5), station="house1", layout="centre")
    found = map_of(chamber(20.0, 12.0, 2), fewer, chamber(13.0))
    assert [one.place for one in found.spots] == ["centre"]
    assert found.is_one_place


def test_a_dark_place_gets_no_part_and_no_time_waits_for_it() -> None:
    found = map_of(chamber(24.0, 20.0, back_left_mw_cm2=0.0))
    assert [one.place for one in found.spots if one.is_dark] == ["back_left"]
    assert found.weakest is not None
    assert found.weakest.mw_cm2 == pytest.approx(20)
    no_centre = map_of(chamber(24.0, 20.0, 2), chamber(0.0, 20.0))
    assert [one.place for one in no_centre.spots if one.is_dark] == ["centre"]


def test_a_station_never_measured_has_no_map() -> None:
    assert map_of() == Placement()
    assert Placement().weakest is None


@given(st.lists(st.floats(5, 40), min_size=5, max_size=5), st.floats(300, 60_000))
def test_every_lit_place_gets_the_dose_even_where_the_meter_reads_too_much(
    values: list[float], dose: float
) -> None:
    at = dict(zip(("centre", *CORNERS), values, strict=True))
    entry = Irradiance(
        at=NOW - timedelta(days=1), station="house1", hours_h=100.0,
        **{f"{place}_mw_cm2": value for place, value in at.items()},
    )  # fmt: skip
    state = station(entry, new_mw_cm2=None, longest_minutes=1440.0)
    found = cure_today(state, lamp(state, NOW), recipe(dose_mj_cm2=dose))
    assert found.seconds is not None
    for value in values:
        assert found.seconds * value / (1 + METER) >= dose * (1 - 1e-9)


@given(st.floats(0.01, 0.5), st.floats(0.01, 0.5))
def test_a_surer_meter_never_widens_an_interval(one: float, other: float) -> None:
    sure, unsure = sorted((one, other))
    low, high = with_meter(20.0, 18.0, 22.0, sure)
    wide_low, wide_high = with_meter(20.0, 18.0, 22.0, unsure)
    assert wide_low <= low < 18.0
    assert wide_high >= high > 22.0


def test_readings_at_one_place_tell_of_that_place() -> None:
    assert map_of(*readings()).is_one_place


UNEVEN = {"back_left": 15.0, "back_right": 19.5, "front_left": 19.5, "front_right": 20.0}


def uneven(**more: float) -> Any:
    at = {f"{place}_mw_cm2": value for place, value in (UNEVEN | more).items()}
    return Irradiance(
        at=NOW - timedelta(days=1), station="house1", centre_mw_cm2=22.0, hours_h=100.0, **at
    )


def test_parts_that_lie_in_some_places_only_are_timed_by_the_weakest_of_these() -> None:
    """9000 mJ/cm2 at 15 mW/cm2, read 10 % too bright: 660 s; at the centre alone 450 s; with the
    right front too, 20 mW/cm2: 495 s."""
    state = station(uneven())
    today = lamp(state, NOW)

    def time_of(*places: str) -> Any:
        return cure_today(state, today, recipe(dose_mj_cm2=9000.0), places)

    assert time_of().seconds == pytest.approx(660.0)
    assert time_of("centre").seconds == pytest.approx(450.0)
    both = time_of("centre", "front_right")
    assert both.seconds == pytest.approx(495.0)
    assert both.weakest.place == "front_right"
    assert both.can
    assert [spot.place for spot in both.placement.spots] == [
        s.place for s in time_of().placement.spots
    ]


def test_no_time_is_given_for_places_whose_light_nobody_knows() -> None:
    """Not measured, dark, or turned away from by a turntable, all but the centre."""
    state = station(uneven(back_right=0.0))
    today, asked = lamp(state, NOW), recipe(dose_mj_cm2=9000.0)
    unknown = cure_today(state, today, asked, ("centre", "left"))
    assert unknown.refusals == (
        "Nobody has measured the light at left. Read the radiometer there, or choose other places.",
    )
    assert unknown.seconds is None
    dark = cure_today(state, today, asked, ("centre", "back_right"))
    assert dark.refusals == ("No light at back right. Put no part there.",)
    turning = station(uneven(), has_turntable=True)
    found = cure_today(turning, lamp(turning, NOW), asked, ("centre", "front_left"))
    assert found.refusals == (
        "It has a turntable, and only parts at its centre stay in their place. Choose the centre "
        "alone or the whole chamber.",
    )
    alone = cure_today(turning, lamp(turning, NOW), asked, ("centre",))
    assert alone.seconds == pytest.approx(450.0)
