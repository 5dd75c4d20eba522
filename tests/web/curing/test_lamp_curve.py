"""The picture of a lamp's output, and what is said of it."""

import re
from dataclasses import replace
from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.curing.lamp import lamp, state_of
from app.domain.curing.stations import StationState
from app.domain.curing.trust import course_of
from app.web.charts import HEIGHT, WIDTH
from app.web.curing import words
from app.web.curing.lamp_curve import LampCurve, curve_of
from tests.domain.curing.rooms import NOW, metered, readings, station

ZONE = ZoneInfo("Europe/Dublin")


def drawn(state: StationState) -> LampCurve:
    curve = curve_of(state, lamp(state, NOW), course_of(state))
    assert curve is not None
    return curve


def points(path: str) -> list[tuple[float, float]]:
    numbers = [float(text) for text in re.findall(r"-?[\d.]+", path)]
    return list(zip(numbers[::2], numbers[1::2], strict=True))


def said(state: StationState) -> str:
    return words.outlook(lamp(state, NOW), NOW, ZONE)


def test_the_line_is_solid_to_the_last_reading_and_dashed_behind_it() -> None:
    curve = drawn(station(*readings()))
    tested, projected = points(curve.tested), points(curve.projected)
    assert tested[0][0] == curve.marks[0].x
    assert tested[-1][0] == curve.tested_x == curve.marks[-1].x
    assert projected[0] == tested[-1]
    heights = [y for _, y in tested + projected]
    assert heights == sorted(heights)  # downwards: the output falls


def test_the_projection_ends_at_its_cap() -> None:
    curve = drawn(station(*readings(), light_sources=4))
    projected = points(curve.projected)
    assert curve.cap_x is not None
    assert projected[-1][0] == pytest.approx(curve.cap_x, abs=0.1)
    assert curve.relamp_x is None  # beyond the cap: not drawn, not said


def test_the_relamp_lies_where_the_line_meets_its_level() -> None:
    curve = drawn(station(*readings(), relamp_percent=90.0))
    assert curve.relamp_x is not None
    nearest = min(points(curve.projected), key=lambda point: abs(point[0] - curve.relamp_x))
    assert nearest[1] == pytest.approx(curve.level_y, abs=2)


def test_few_readings_draw_no_line() -> None:
    curve = drawn(station(*readings([(10, 1.0), (20, 0.99)])))
    assert (curve.tested, curve.projected, curve.band) == ("", "", "")
    assert len(curve.marks) == 2
    assert curve_of(station(), lamp(station(), NOW), course_of(station())) is None


def test_without_a_decline_nothing_is_projected() -> None:
    curve = drawn(station(*readings([(1000, 0.97), (2000, 0.98), (3000, 0.99)])))
    assert curve.tested
    assert curve.projected == ""
    assert curve.cap_x is curve.relamp_x is None


@pytest.mark.parametrize("first", [0.0, 40.0, 4300.0, 90_000.0])
def test_all_that_is_drawn_lies_in_the_picture(first: float) -> None:
    course = [(first + 100 * n, 1 - 0.02 * n) for n in range(6)]
    curve = drawn(station(*readings(course), hours_h=first))
    places = points(curve.tested) + points(curve.projected) + points(curve.band)
    places += [(mark.x, mark.y) for mark in curve.marks]
    assert all(0 <= x <= WIDTH and 0 <= y <= HEIGHT for x, y in places)
    assert all(0 <= tick.at <= WIDTH for tick in curve.hour_ticks)
    assert len(curve.hour_ticks) >= 2


def test_what_is_said_follows_from_what_is_known() -> None:
    assert "never been measured" in said(station())
    assert "Take 3 readings" in said(station(*readings([(10, 1.0)])))
    assert "No measurable decline over" in said(
        station(*readings([(1000, 0.97), (2000, 0.98), (3000, 0.99)]))
    )
    assert "At or below the level" in said(station(*readings(), relamp_percent=95.0))
    assert said(station(*readings(), light_sources=4)).startswith(
        f"No relamp before {words.hours(12_000)}"
    )
    scattered = [(1000, 0.98), (2000, 0.97), (3000, 0.975), (4000, 0.955), (5000, 0.957)]
    wide = station(*readings([*scattered, (6000, 0.94)]), light_sources=None, relamp_percent=89.0)
    relamping = lamp(wide, NOW).relamping
    assert relamping is not None
    assert relamping.early_h is not None
    assert relamping.reported_h is None
    assert said(wide).startswith("Relamp likely after")
    assert "depends on how much it is used" in said(station(*readings()))
    used = station(*readings(), metered(40, 5500), relamp_percent=90.0)
    assert re.search(r"Relamp at about 7.797.h, on \d", said(used))
    assert words.relamp_range(lamp(used, NOW), NOW, ZONE).startswith("Early ")
    assert words.relamp_range(lamp(station(), NOW), NOW, ZONE) == ""
    dropped = [*readings([(1000, 0.98), (2000, 0.97), (3000, 0.95), (4000, 0.94), (5000, 0.6)])]
    fallen = lamp(station(*dropped, relamp_percent=50.0), NOW)
    (aside,) = fallen.aside
    assert words.doubt_of(aside).startswith("The mean is 12 mW/cm², 0.648 times the 18.5 expected.")
    assert words.aside_words(aside, fallen).startswith("To be safe, cure times use 12 mW/cm²")
    assert said(station(*dropped, relamp_percent=50.0)) == said(
        station(*dropped[:-1], relamp_percent=50.0)
    )


def test_what_to_do_is_named() -> None:
    def to_do(state: StationState, later: timedelta = timedelta()) -> str:
        now = NOW + later
        found = lamp(state, now)
        return " ".join(words.to_do(found, state_of(state, found, now)))

    assert "Read the radiometer" in to_do(station())
    assert "Replace the lamp" in to_do(station(*readings(), relamp_percent=95.0))
    assert "days old. Measure again" in to_do(station(*readings()), timedelta(days=150))
    near = station(*readings(), metered(40, 5500), metered(0, 6100), relamp_percent=91.5)
    assert "Order the next lamp" in to_do(near)
    uneven = [replace(entry, front_left_mw_cm2=5.0) for entry in readings()]
    assert "The light is uneven" in to_do(station(*uneven))


def test_how_far_it_reaches_names_its_reason() -> None:
    line = lamp(station(*readings()), NOW).fit
    assert line is not None
    assert "6 times the hours watched" in words.reach_of(line)
    few = lamp(station(*readings(), light_sources=None), NOW).fit
    assert few is not None
    assert "our own caution" in words.reach_of(few)
