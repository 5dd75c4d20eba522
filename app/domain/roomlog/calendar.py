"""A room's history moved to another time, working day by working day, by the room's own clock.

Moved by a plain number of days, a log would put its Sundays anywhere; moved by whole weeks, it
would not end today. So days are counted in working days, and the hours stay what they were.
"""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Any

from app.domain.roomlog.kinds import Entry

WORKING_DAYS_A_WEEK = 6
SUNDAY = 6
_MONDAY = date(2001, 1, 1)


def moved(entry: Entry, from_day: date, to_day: date, zone: tzinfo) -> Entry:
    """The entry as if the history that ends on `from_day` ended on `to_day`.

    A history that ends on a Sunday ends with the Saturday before it.
    """
    days = working_days_before(to_day) - working_days_before(from_day)

    def shifted_day(day: date) -> date:
        return working_day(working_days_before(day) + days)

    def shifted(at: datetime) -> datetime:
        local = at.astimezone(zone)
        day = shifted_day(local.date())
        return datetime.combine(day, local.time(), tzinfo=zone).astimezone(UTC)

    entered_at = None if entry.entered_at is None else shifted(entry.entered_at)
    own: dict[str, Any] = {}
    for name, spec in entry.specs().items():
        value = getattr(entry, name)
        if value is not None and spec.type in ("moment", "day"):
            own[name] = shifted(value) if spec.type == "moment" else shifted_day(value)
    return replace(entry, at=shifted(entry.at), entered_at=entered_at, **own)


def working_days_before(day: date) -> int:
    """Number of a day, Sundays not counted; a Sunday has that of the Saturday before it.

    >>> working_days_before(date(2026, 3, 2)) - working_days_before(date(2026, 2, 28))
    1
    """
    weeks, weekday = divmod((day - _MONDAY).days, 7)
    return WORKING_DAYS_A_WEEK * weeks + min(weekday, SUNDAY - 1)


def working_day(number: int) -> date:
    """The day of a number.

    >>> working_day(working_days_before(date(2026, 3, 2)) - 1)
    datetime.date(2026, 2, 28)
    """
    weeks, weekday = divmod(number, WORKING_DAYS_A_WEEK)
    return _MONDAY + timedelta(days=7 * weeks + weekday)
