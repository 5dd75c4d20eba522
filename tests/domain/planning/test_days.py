"""Working days, months and the room's own days."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.planning.days import (
    day_of,
    earlier,
    later,
    month_of,
    next_month,
    on_or_after,
    on_or_before,
    starts_at,
    working_days,
)

BERLIN = ZoneInfo("Europe/Berlin")
DAYS = st.dates(date(2024, 1, 1), date(2030, 1, 1))
WEEKS = st.frozensets(st.integers(1, 7), min_size=1)


@given(day=DAYS, count=st.integers(0, 80), weekdays=WEEKS)
def test_working_days_are_counted_as_numpy_counts_them(
    day: date, count: int, weekdays: frozenset[int]
) -> None:
    mask = [number in weekdays for number in range(1, 8)]
    # What takes no day comes on the first working day; otherwise the count starts after the day.
    roll = "forward" if count == 0 else "backward"
    assert later(day, count, weekdays) == np.busday_offset(
        day, count, roll=roll, weekmask=mask
    ).astype(date)
    assert earlier(day, count, weekdays) == np.busday_offset(
        day, -count, roll="backward", weekmask=mask
    ).astype(date)


@given(day=DAYS, count=st.integers(0, 80), weekdays=WEEKS)
def test_what_is_asked_for_on_the_latest_day_comes_in_time_and_a_day_later_does_not(
    day: date, count: int, weekdays: frozenset[int]
) -> None:
    ask_on = earlier(day, count, weekdays)
    assert later(ask_on, count, weekdays) <= day
    next_chance = on_or_after(ask_on + timedelta(days=1), weekdays)
    assert later(next_chance, count, weekdays) > day


@given(first=DAYS, length=st.integers(0, 60), weekdays=WEEKS)
def test_the_working_days_of_a_span_are_all_of_them(
    first: date, length: int, weekdays: frozenset[int]
) -> None:
    last = first + timedelta(days=length)
    found = working_days(first, last, weekdays)
    mask = [number in weekdays for number in range(1, 8)]
    assert len(found) == np.busday_count(first, last + timedelta(days=1), weekmask=mask)
    assert all(on_or_before(day, weekdays) == day for day in found)


def test_a_leap_day_is_a_day() -> None:
    assert later(date(2028, 2, 28), 1, (1, 2, 3, 4, 5)) == date(2028, 2, 29)
    assert earlier(date(2028, 3, 1), 1, (1, 2, 3, 4, 5)) == date(2028, 2, 29)
    assert next_month(date(2028, 2, 29)) == date(2028, 3, 1)


def test_a_month_changes_by_the_clock_of_the_room() -> None:
    late = datetime(2026, 11, 30, 23, 30, tzinfo=UTC)  # half past midnight in Berlin
    assert month_of(day_of(late, BERLIN)) == (2026, 12)
    assert month_of(day_of(late, ZoneInfo("America/New_York"))) == (2026, 11)
    assert next_month(date(2026, 12, 31)) == date(2027, 1, 1)


@pytest.mark.parametrize(
    "day, hours", [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 3, 30), 24)]
)
def test_days_begin_at_midnight_of_the_room_when_clocks_change(day: date, hours: int) -> None:
    # Clocks change at 01:00 UTC on the last Sundays of March and October: Directive 2000/84/EC.
    length = starts_at(day + timedelta(days=1), BERLIN) - starts_at(day, BERLIN)
    assert length == timedelta(hours=hours)
    assert day_of(starts_at(day, BERLIN), BERLIN) == day
