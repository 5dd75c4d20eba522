"""The picture of a bath: one limit line for all, whatever the limits are."""

from dataclasses import replace
from pathlib import Path

from hypothesis import given
from hypothesis import strategies as st

from app.web.rooms.gauge import gauge, gauge_of
from tests.web.views import tank_view

of_limit = st.floats(0, 500)


@given(st.lists(of_limit, min_size=3, max_size=3).map(sorted), st.none() | of_limit)
def test_everything_lies_inside_the_picture(levels: list[float], tomorrow: float | None) -> None:
    low, level, high = levels
    drawn = gauge(level, low, high, stop=120, tomorrow=tomorrow)
    for place in (drawn.limit, drawn.level, drawn.band_top, drawn.stop, drawn.tomorrow):
        assert place is None or 0 <= place <= 100
    assert drawn.band_height > 0


@given(of_limit, of_limit)
def test_a_fuller_bath_stands_higher(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert gauge(high, high, high).level <= gauge(low, low, low).level


def test_the_limit_line_is_crossed_exactly_at_the_limit() -> None:
    assert gauge(100, 100, 100).level == gauge(3, 2, 4).limit
    assert not gauge(100, 95, 105).is_over
    assert gauge(100.1, 95, 105).is_over


def test_the_figure_is_the_level_even_off_the_scale() -> None:
    drawn = gauge(310, 300, 320)
    assert (drawn.level, drawn.of_limit) == (0.0, 310)


def test_a_second_limit_above_the_picture_is_not_drawn() -> None:
    assert gauge(50, 45, 55, stop=130).stop is None
    assert gauge(50, 45, 55, stop=120).stop is not None
    assert gauge(50, 45, 55).stop is None


def test_the_figure_stands_in_the_fluid_only_where_it_has_room() -> None:
    assert gauge(80, 75, 85).is_label_inside
    assert not gauge(10, 8, 12).is_label_inside


def test_two_baths_at_the_same_share_of_their_own_limits_look_the_same(tmp_path: Path) -> None:
    view = replace(
        tank_view(tmp_path),
        limit_percent=10.0, stop_percent=12.0,
        mean_percent=6.0, p05_percent=5.0, p95_percent=7.0, tomorrow_percent=6.5,
    )  # fmt: skip
    other = replace(
        view,
        limit_percent=20.0, stop_percent=24.0,
        mean_percent=12.0, p05_percent=10.0, p95_percent=14.0, tomorrow_percent=13.0,
    )  # fmt: skip
    assert gauge_of(view) == gauge_of(other)
    assert gauge_of(view).of_limit == 60
