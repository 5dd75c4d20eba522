"""Days and months in words, the same on every page and in every message.

Written out here: the machine's own language must not meddle.
"""

from datetime import date, datetime, tzinfo

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
WEEKDAYS_IN_FULL = (
    "Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday",
)  # fmt: skip
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


def day_words(day: date | None, today: date | None = None) -> str:
    """A day, with its year unless it is that of `today`; nothing where there is none.

    >>> day_words(date(2026, 11, 29))
    'Sun 29 Nov 2026'
    >>> day_words(date(2026, 11, 29), date(2026, 3, 2))
    'Sun 29 Nov'
    """
    if day is None:
        return ""
    year = "" if today is not None and day.year == today.year else f" {day.year}"
    return f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}{year}"


def month_words(month: tuple[int, int]) -> str:
    """A month, given as its year and number.

    >>> month_words((2026, 11))
    'Nov 2026'
    """
    return f"{MONTHS[month[1] - 1]} {month[0]}"


def moment_words(at: datetime, zone: tzinfo) -> str:
    """An instant in a zone, such as “Sun 29 Nov 2026 06:41”."""
    local = at.astimezone(zone)
    return f"{day_words(local.date())} {local:%H:%M}"
