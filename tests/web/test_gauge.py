"""The vessel: a bath in percent of its own limit, on a scale from 0 to 122."""

import pytest
from hypothesis import given
from hypothesis.strategies import floats

from app.web.gauge import LABEL_FITS_FROM, TOP_PERCENT_OF_LIMIT, gauge

PERCENT = floats(0, 400)


def test_an_empty_bath_lies_at_the_bottom_and_a_full_scale_at_the_top() -> None:
    assert gauge(0, 0, 0).level == 100
    assert gauge(122, 122, 122).level == 0


def test_half_the_scale_lies_in_the_middle() -> None:
    assert gauge(61, 61, 61).level == 50


@given(PERCENT)
def test_the_limit_is_at_the_same_height_for_every_bath(level: float) -> None:
    assert gauge(level, level, level).limit == pytest.approx(100 * 22 / 122, abs=0.005)


@given(PERCENT, PERCENT)
def test_more_resin_never_lies_lower(one: float, other: float) -> None:
    low, high = sorted((one, other))
    assert gauge(high, high, high).level <= gauge(low, low, low).level


@given(PERCENT, PERCENT, PERCENT)
def test_all_parts_stay_in_the_picture(one: float, two: float, three: float) -> None:
    low, level, high = sorted((one, two, three))
    drawn = gauge(level, low, high, stop=high, tomorrow=high)
    places = [drawn.level, drawn.band_top, drawn.tomorrow, drawn.limit]
    assert all(place is not None and 0 <= place <= 100 for place in places)
    assert drawn.stop is None or 0 <= drawn.stop <= 100


@given(PERCENT, PERCENT, PERCENT)
def test_the_band_encloses_the_waterline(one: float, two: float, three: float) -> None:
    low, level, high = sorted((one, two, three))
    drawn = gauge(level, low, high)
    assert drawn.band_top <= drawn.level <= drawn.band_top + drawn.band_height + 0.02


@given(PERCENT)
def test_a_band_is_never_too_thin_to_be_seen(level: float) -> None:
    assert gauge(level, level, level).band_height > 0


def test_only_what_lies_above_the_limit_counts_as_over() -> None:
    assert not gauge(100, 95, 105).is_over
    assert gauge(100.4, 95, 105).is_over


def test_what_is_off_the_scale_is_drawn_at_the_brim_and_still_says_how_much() -> None:
    drawn = gauge(140, 130, 150)
    assert (drawn.level, drawn.of_limit) == (0, 140)


def test_a_second_limit_above_the_picture_is_not_drawn() -> None:
    assert gauge(50, 45, 55, stop=TOP_PERCENT_OF_LIMIT + 1).stop is None
    assert gauge(50, 45, 55, stop=120).stop is not None


def test_without_a_forecast_there_is_no_pointer() -> None:
    assert gauge(50, 45, 55).tomorrow is None


def test_the_figure_stands_in_the_fluid_only_where_it_has_room() -> None:
    assert gauge(LABEL_FITS_FROM, 40, 50).is_label_inside
    assert not gauge(LABEL_FITS_FROM - 1, 40, 50).is_label_inside
