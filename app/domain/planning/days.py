"""Days of the room: working days counted forwards and back, months and days in its own zone."""

from collections.abc import Collection
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from functools import lru_cache

ONE = timedelta(days=1)


def on_or_before(day: date, weekdays: Collection[int]) -> date:
    """The last working day up to a day. Weekdays after ISO 8601, Monday is 1; at least one."""
    while day.isoweekday() not in weekdays:
        day -= ONE
    return day


def on_or_after(day: date, weekdays: Collection[int]) -> date:
    """The first working day from a day on."""
    while day.isoweekday() not in weekdays:
        day += ONE
    return day


def later(day: date, count: int, weekdays: Collection[int]) -> date:
    """When something comes that takes so many working days from a day on.

    >>> later(date(2026, 3, 6), 1, (1, 2, 3, 4, 5))
    datetime.date(2026, 3, 9)
    """
    weeks, rest = divmod(count, len(weekdays))
    if count == 0:
        return on_or_after(day, weekdays)
    if rest == 0:
        weeks, rest = weeks - 1, len(weekdays)
    day += timedelta(weeks=weeks)
    for _ in range(rest):
        day = on_or_after(day + ONE, weekdays)
    return day


def earlier(day: date, count: int, weekdays: Collection[int]) -> date:
    """The latest working day on which to ask for what takes so many and is needed by a day.

    >>> earlier(date(2026, 3, 8), 1, (1, 2, 3, 4, 5))
    datetime.date(2026, 3, 5)
    """
    day = on_or_before(day, weekdays)
    weeks, rest = divmod(count, len(weekdays))
    day -= timedelta(weeks=weeks)
    for _ in range(rest):
        day = on_or_before(day - ONE, weekdays)
    return day


def working_days(first: date, last: date, weekdays: Collection[int]) -> list[date]:
    """The working days from one day to another, both counted."""
    span = range((last - first).days + 1)
    return [day for n in span if (day := first + timedelta(n)).isoweekday() in weekdays]


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
