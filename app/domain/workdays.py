"""The working days of a site: its days of the week, less the days on which it is closed.

One calendar for all that happens on a working day: swaps, orders, deliveries and pickups. The
closed days are passed in; which days are public holidays somewhere is looked up outside.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta

from app.domain.calendar_words import WEEKDAYS_IN_FULL

ONE = timedelta(days=1)
LONGEST_CLOSURE_DAYS = 92
MOST_CLOSED_DAYS = 400
_CLOSURE = re.compile(r"(\d{4}-\d\d-\d\d)(?:\s*(?:to|/|-)\s*(\d{4}-\d\d-\d\d))?\s*(.*)")


@dataclass(frozen=True)
class WorkCalendar:
    """Which days are worked.

    Attributes:
        weekdays: days of the week after ISO 8601, Monday is 1; at least one.
        closed: why the site is closed, by day.
    """

    weekdays: frozenset[int] = frozenset({1, 2, 3, 4, 5})
    closed: Mapping[date, str] = field(default_factory=dict)

    def is_working(self, day: date) -> bool:
        """Whether the site works on that day."""
        return day.isoweekday() in self.weekdays and day not in self.closed

    def why_not(self, day: date) -> str:
        """Why a day is no working day, such as “Closed: New Year's Day”; empty where it is one."""
        if day in self.closed:
            name = self.closed[day]
            return f"Closed: {name}" if name else "Closed"
        if day.isoweekday() not in self.weekdays:
            return f"{WEEKDAYS_IN_FULL[day.weekday()]}s are not working days"
        return ""

    def on_or_before(self, day: date) -> date:
        """The last working day up to a day."""
        while not self.is_working(day):
            day -= ONE
        return day

    def on_or_after(self, day: date) -> date:
        """The first working day from a day on."""
        while not self.is_working(day):
            day += ONE
        return day

    def later(self, day: date, count: int) -> date:
        """When something comes that takes so many working days from a day on.

        >>> WorkCalendar().later(date(2026, 3, 6), 1)
        datetime.date(2026, 3, 9)
        >>> WorkCalendar(closed={date(2027, 1, 1): "New Year's Day"}).later(date(2026, 12, 31), 1)
        datetime.date(2027, 1, 4)
        """
        if count == 0:
            return self.on_or_after(day)
        for _ in range(count):
            day = self.on_or_after(day + ONE)
        return day

    def earlier(self, day: date, count: int) -> date:
        """The latest working day on which to ask for what takes so many and is needed by a day.

        >>> WorkCalendar().earlier(date(2026, 3, 8), 1)
        datetime.date(2026, 3, 5)
        """
        day = self.on_or_before(day)
        for _ in range(count):
            day = self.on_or_before(day - ONE)
        return day

    def days(self, first: date, last: date) -> list[date]:
        """The working days from one day to another, both counted."""
        span = range((last - first).days + 1)
        return [day for n in span if self.is_working(day := first + timedelta(n))]


def closures(text: str) -> dict[date, str]:
    """The days of a site's own closures, by day, from a text with semicolons between them.

    >>> sorted(closures("2026-12-30 to 2026-12-31 Works holiday; 2026-07-06").items())[0]
    (datetime.date(2026, 7, 6), '')

    Raises:
        ValueError: what is no day, or too many of them; says so in words.
    """
    found: dict[date, str] = {}
    for part in (part.strip() for part in re.split(r"[;\n]", text)):
        if part:
            first, last, name = _closure(part)
            found |= {first + timedelta(n): name for n in range((last - first).days + 1)}
    if len(found) > MOST_CLOSED_DAYS:
        raise ValueError(f"Enter at most {MOST_CLOSED_DAYS} closed days. These are {len(found)}.")
    return found


def _closure(part: str) -> tuple[date, date, str]:
    match = _CLOSURE.fullmatch(part)
    if match is None:
        raise ValueError(
            f"“{part[:40]}” does not begin with a day. "
            "Write 2026-12-30 to 2027-01-02 Works holiday."
        )
    try:
        first = date.fromisoformat(match[1])
        last = date.fromisoformat(match[2]) if match[2] else first
    except ValueError:
        raise ValueError(f"“{part[:40]}” names a day that does not exist.") from None
    if last < first:
        raise ValueError(f"“{part[:40]}” ends before it begins.")
    if (last - first).days >= LONGEST_CLOSURE_DAYS:
        raise ValueError(f"“{part[:40]}” is longer than {LONGEST_CLOSURE_DAYS} days.")
    return first, last, match[3].strip()
