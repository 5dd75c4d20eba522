"""Geometry of the charts."""

from datetime import UTC, datetime, timedelta
from itertools import accumulate, pairwise
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.web import charts
from app.web.charts import HEIGHT, LEFT, RIGHT, TOP, WIDTH, TimeScale, ValueScale, reaches

DUBLIN = ZoneInfo("Europe/Dublin")
SINCE = datetime(2026, 3, 25, 6, 40, tzinfo=UTC)


def test_a_time_scale_reaches_from_edge_to_edge() -> None:
    scale = TimeScale(SINCE, SINCE + timedelta(days=10))
    assert scale.x(scale.since) == LEFT
    assert scale.x(scale.until) == WIDTH - RIGHT
    assert scale.x(SINCE + timedelta(days=5)) == (LEFT + WIDTH - RIGHT) / 2


def test_ticks_stand_at_midnights_of_the_zone_through_the_change_of_clocks() -> None:
    """Ireland went to summer time on 29 March 2026, 01:00 UTC (IANA time zone database)."""
    scale = TimeScale(SINCE, SINCE + timedelta(days=7))
    ticks = scale.ticks(DUBLIN)
    assert [tick.text for tick in ticks] == [f"{day} Mar" for day in range(26, 32)] + ["1 Apr"]
    assert ticks[3].at == scale.x(datetime(2026, 3, 29, 0, 0, tzinfo=UTC))
    assert ticks[4].at == scale.x(datetime(2026, 3, 29, 23, 0, tzinfo=UTC))


@given(st.floats(0.05, 800))
def test_there_are_never_more_ticks_than_fit(days: float) -> None:
    assert len(TimeScale(SINCE, SINCE + timedelta(days=days)).ticks(DUBLIN)) <= 10


def test_a_higher_value_lies_higher_and_the_scale_ends_inside_the_picture() -> None:
    scale = ValueScale(12.0)
    heights = [scale.y(value) for value in range(13)]
    assert all(upper < lower for lower, upper in pairwise(heights))
    assert scale.y(12.0) == TOP
    assert 0 <= scale.y(1e9) <= TOP
    assert scale.y(-1e9) <= HEIGHT


@given(st.floats(1e-3, 1e4))
def test_round_values_are_evenly_spaced_by_one_two_or_five(highest: float) -> None:
    values = charts.nice_values(highest)
    assert values[0] == 0
    assert values[-1] <= highest * (1 + 1e-6)
    assert 3 <= len(values) <= 7
    step = values[1]
    digits = f"{step:.6e}".partition("e")[0].rstrip("0").rstrip(".")
    assert digits in {"1", "2", "2.5", "5"}
    for low, high in pairwise(values):
        assert high - low == pytest.approx(step, rel=1e-6, abs=1e-9)


def test_paths_follow_the_grammar_of_svg() -> None:
    """SVG 2, section 9.3: M moves, L draws a line, Z closes."""
    assert charts.line([(0, 1), (2, 3)]) == "M0 1L2 3"
    assert charts.line(iter([(0, 1), (2, 3)])) == "M0 1L2 3"
    assert charts.lines([[(0, 1), (2, 3)], [], [(4, 5)]]) == "M0 1L2 3M4 5"
    assert charts.area([(0, 1), (2, 1)], [(0, 3), (2, 3)]) == "M0 1L2 1L2 3L0 3Z"


def test_nothing_is_drawn_from_nothing() -> None:
    assert charts.line([]) == ""
    assert charts.lines([]) == ""
    assert charts.area([], []) == ""
    assert charts.spark([1.0]) == ""


def test_a_small_line_without_change_is_level() -> None:
    heights = {piece.split(" ")[1] for piece in charts.spark([4, 4, 4])[1:].split("L")}
    assert len(heights) == 1


def test_an_error_bar_spans_its_reach() -> None:
    scale = ValueScale(10.0)
    bar = charts.error_bar(100, scale, 4.0, 1.5, "4 ± 1.5 %")
    assert (bar.low_y, bar.y, bar.high_y) == (scale.y(2.5), scale.y(4), scale.y(5.5))
    assert bar.low_y > bar.y > bar.high_y


def test_an_interval_keeps_inside_its_picture_and_can_be_seen() -> None:
    bar = charts.bar(0.3, 0.1, 0.9, highest=0.5)
    assert (bar.low, bar.mark, bar.high, bar.width) == (20.0, 60.0, 100.0, 80.0)
    assert charts.bar(0.1, 0.1, 0.1, highest=0.5).width > 0


@given(
    st.lists(st.floats(0.001, 1000), min_size=1, max_size=12),
    st.floats(1, 120),
)
def test_every_part_of_a_bar_can_be_pointed_at(widths: list[float], least: float) -> None:
    edges = [1000 * part / sum(widths) for part in accumulate(widths, initial=0)]
    found = reaches(edges, least)
    assert len(found) == len(widths)
    assert found[0][0] == 0
    assert sum(found[-1]) == pytest.approx(1000, abs=0.11)
    for (x, width), (following, _) in pairwise(found):
        assert x + width == pytest.approx(following, abs=0.11)  # no gap, no overlap
    for _, width in found:
        assert width >= min(least, 1000 / len(widths)) - 0.11


def test_a_part_that_is_wide_enough_gives_nothing_away_to_others_of_its_kind() -> None:
    assert reaches([0, 300, 1000], least=48) == [(0, 300), (300, 700)]


def test_a_sliver_between_two_wide_parts_borrows_from_the_next() -> None:
    assert reaches([0, 500, 500.1, 1000], least=48)[1] == (500, 48)


def test_a_sliver_at_the_end_borrows_from_the_one_before() -> None:
    assert reaches([0, 999.9, 1000], least=48) == [(0, 952), (952, 48)]
