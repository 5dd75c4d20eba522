"""Days of the room: months and days in its own zone."""

from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import lru_cache

ONE = timedelta(days=1)


def day_of(at: datetime, zone: tzinfo) -> date:
    """The day of an instant in the room's time."""
    return at.astimezone(zone).date()


@lru_cache(maxsize=4096)
def starts_at(day: date, zone: tzinfo) -> datetime:
    """The instant in UTC at which a day begins in the room's time."""
    return datetime.combine(day, time.min, tzinfo=zone).astimezone(UTC)


def month_of(day: date) -> tuple[int, int]:
    """The calendar month of a day: its year and number."""
    return day.year, day.month


def next_month(day: date) -> date:
    """The first day of the month after.

    >>> next_month(date(2026, 12, 31))
    datetime.date(2027, 1, 1)
    """
    return date(day.year + day.month // 12, day.month % 12 + 1, 1)
