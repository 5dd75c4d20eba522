"""Scales, ticks and paths of the charts."""

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis.strategies import floats, lists

from app.web.charts import (
    HEIGHT,
    LEFT,
    RIGHT,
    SPARK_HEIGHT,
    WIDTH,
    TimeScale,
    ValueScale,
    area,
    bar,
    error_bar,
    line,
    lines,
    nice_values,
    spark,
)  # fmt: skip

START = datetime(2026, 3, 2, 12, tzinfo=UTC)
# The grammar of path data in SVG 1.1, section 8.3.9, as far as these charts use it.
PATH = re.compile(r"(M-?[\d.e+-]+ -?[\d.e+-]+(L-?[\d.e+-]+ -?[\d.e+-]+)*Z?)*")


def test_a_time_scale_runs_from_edge_to_edge() -> None:
    scale = TimeScale(START, START + timedelta(days=10))
    assert scale.x(START) == LEFT
    assert scale.x(START + timedelta(days=10)) == WIDTH - RIGHT
    assert scale.x(START + timedelta(days=5)) == pytest.approx((LEFT + WIDTH - RIGHT) / 2)


def test_an_empty_span_does_not_divide_by_zero() -> None:
    assert TimeScale(START, START).x(START) == LEFT


@pytest.mark.parametrize("days", [1, 3, 10, 30, 90, 365])
def test_there_are_never_more_than_nine_ticks_and_a_few(days: int) -> None:
    ticks = TimeScale(START, START + timedelta(days=days)).ticks(UTC)
    assert 1 <= len(ticks) <= 10
    assert ticks == sorted(ticks, key=lambda tick: tick.at)


def test_ticks_are_midnights_across_the_change_to_summer_time() -> None:
    # The European Union's summer time began on 29 March 2026 at 01:00 UTC (Directive 2000/84/EC).
    zone = ZoneInfo("Europe/Dublin")
    scale = TimeScale(datetime(2026, 3, 27, 12, tzinfo=UTC), datetime(2026, 3, 31, 12, tzinfo=UTC))
    midnights = [datetime(2026, 3, day, tzinfo=zone) for day in (28, 29, 30, 31)]
    assert [tick.at for tick in scale.ticks(zone)] == [scale.x(at) for at in midnights]


def test_values_grow_upwards() -> None:
    scale = ValueScale(12.0)
    assert scale.y(0) > scale.y(6) > scale.y(12) > 0
    assert scale.y(0) < HEIGHT


@given(floats(0.01, 1e6))
def test_ticks_are_round_and_within_the_scale(highest: float) -> None:
    values = nice_values(highest)
    assert values[0] == 0
    assert 2 <= len(values) <= 8
    assert values[-1] <= highest * (1 + 1e-6)
    step = f"{values[1]:.1e}"
    assert step[:3] in {"1.0", "2.0", "2.5", "5.0"}


@given(lists(floats(-1e4, 1e4), max_size=30))
def test_paths_follow_the_grammar_of_svg(values: list[float]) -> None:
    points = [(float(index), value) for index, value in enumerate(values)]
    for path in (line(points), lines([points, points]), area(points, points), spark(values)):
        assert PATH.fullmatch(path)


def test_an_area_goes_there_along_the_top_and_back_along_the_bottom() -> None:
    assert area([(0, 1), (5, 2)], [(0, 8), (5, 9)]) == "M0 1L5 2L5 9L0 8Z"


def test_a_line_takes_points_that_are_made_on_the_way() -> None:
    assert line(point for point in [(0, 1), (2, 3)]) == "M0 1L2 3"
    assert line(iter(())) == ""


def test_an_error_bar_reaches_as_far_up_as_down() -> None:
    drawn = error_bar(50, ValueScale(10.0), 5.0, 1.0, "5.0 ± 1.0 %")
    assert drawn.low_y > drawn.y > drawn.high_y
    assert drawn.low_y - drawn.y == pytest.approx(drawn.y - drawn.high_y, abs=0.11)


@given(floats(0, 1), floats(0, 1), floats(0, 1), floats(0.01, 1))
def test_a_bar_stays_in_its_cell(one: float, two: float, three: float, highest: float) -> None:
    low, value, high = sorted((one, two, three))
    drawn = bar(value, low, high, highest)
    assert 0 <= drawn.low <= drawn.mark <= drawn.high <= 100
    assert drawn.width > 0


@given(lists(floats(-1e4, 1e4), min_size=2, max_size=40))
def test_a_sparkline_is_not_cut_off(values: list[float]) -> None:
    heights = [float(pair.split(" ")[1]) for pair in spark(values)[1:].split("L")]
    assert len(heights) == len(values)
    assert all(2 <= height <= SPARK_HEIGHT - 2 for height in heights)
