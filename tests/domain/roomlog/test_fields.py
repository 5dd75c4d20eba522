"""The checks of single values."""

import math
from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import FieldError
from app.domain.roomlog.fields import FieldSpec, check_key, check_moment, check_text, check_value

VOLUME = FieldSpec("number", "Volume", "L", 0.1, 50)


@given(st.floats(0.1, 50))
def test_numbers_within_the_range_are_taken(value: float) -> None:
    assert check_value("volume_l", VOLUME, value) == value


@given(
    st.floats().filter(lambda value: not 0.1 <= value <= 50)
    | st.integers(51)
    | st.integers(max_value=0)
)
def test_all_other_numbers_are_refused(value: float) -> None:
    with pytest.raises(FieldError):
        check_value("volume_l", VOLUME, value)


@pytest.mark.parametrize("value", [True, "3", None, [3], {}, math.nan, math.inf, 10**400])
def test_what_is_no_number_is_refused(value: Any) -> None:
    with pytest.raises(FieldError):
        check_value("volume_l", VOLUME, value)


@pytest.mark.parametrize("value", [2**63, -(2**63) - 1, 1.5, "1"])
def test_whole_numbers_are_whole_and_bounded(value: Any) -> None:
    spec = FieldSpec("whole", "Parts", low=1, high=1000)
    assert check_value("parts", spec, 12.0) == 12
    with pytest.raises(FieldError):
        check_value("parts", spec, value)


@pytest.mark.parametrize(
    "text",
    [
        "2026-03-02T07:40:00+00:00",
        "2026-03-02T07:40:00Z",
        "2026-03-02T08:40+01:00",
        "20260302T074000Z",
    ],
)
def test_instants_are_taken_as_iso_8601_writes_them(text: str) -> None:
    """ISO 8601-1:2019, 5.4.2: extended and basic format, with the offset."""
    assert check_moment("at", text) == datetime(2026, 3, 2, 7, 40, tzinfo=UTC)


@pytest.mark.parametrize(
    "value", ["", "now", "2026-03-02T07:40:00", "0001-01-01T00:00:00+14:00", 5, None]
)
def test_instants_without_an_offset_or_out_of_range_are_refused(value: Any) -> None:
    with pytest.raises(FieldError):
        check_moment("at", value)


@pytest.mark.parametrize("text", ["\x00", "a\x1bb", "\ud800", "\u202e", "x" * 21])
def test_text_that_cannot_be_stored_or_shown_is_refused(text: str) -> None:
    with pytest.raises(FieldError):
        check_text("note", text, 20)


@pytest.mark.parametrize("key", ["", " ", "a b", "é", "-a", "a" * 65, 5, None, "a\n"])
def test_keys_are_short_and_plain(key: Any) -> None:
    assert check_key("tank", "Tank-1_b.c:d") == "Tank-1_b.c:d"
    with pytest.raises(FieldError):
        check_key("tank", key)
