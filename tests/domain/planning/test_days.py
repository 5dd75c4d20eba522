"""Months and the room's own days."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from app.domain.planning.days import day_of, month_of, next_month, starts_at

BERLIN = ZoneInfo("Europe/Berlin")


def test_the_month_after_a_leap_day_is_march() -> None:
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
