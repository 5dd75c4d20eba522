"""Weeks after ISO 8601 in the room's own time: Monday first, week 1 holds the first Thursday."""

import re
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo

from app.domain.errors import FieldError

_WRITTEN = re.compile(r"([0-9]{4})-W([0-9]{2})")
FIRST_YEAR, LAST_YEAR = 1970, 2200


@dataclass(frozen=True, order=True)
class IsoWeek:
    """A week by its year and number, as 2026-W01.

    >>> IsoWeek.of(date(2021, 1, 3)), IsoWeek.of(date(2025, 12, 29))
    (IsoWeek(year=2020, number=53), IsoWeek(year=2026, number=1))
    """

    year: int
    number: int

    @classmethod
    def of(cls, day: date) -> "IsoWeek":
        """The week of a day."""
        year, number, _ = day.isocalendar()
        return cls(year, number)

    @classmethod
    def at(cls, moment: datetime, zone: tzinfo) -> "IsoWeek":
        """The week of an instant, by the calendar of the room."""
        return cls.of(moment.astimezone(zone).date())

    @classmethod
    def parsed(cls, text: str) -> "IsoWeek":
        """The week as written.

        Raises:
            FieldError: no such week.
        """
        found = _WRITTEN.fullmatch(text)
        if found is None:
            message = f"“{text[:20]}” is not a week. Give its year and number, such as 2026-W09."
            raise FieldError("week", message)
        year, number = int(found[1]), int(found[2])
        if not FIRST_YEAR <= year < LAST_YEAR:
            message = f"Weeks are shown from {FIRST_YEAR} to {LAST_YEAR - 1}, not {year}."
            raise FieldError("week", message)
        last = date(year, 12, 28).isocalendar().week  # 28 December is always in the last one
        if not 1 <= number <= last:
            message = f"{year} has the weeks W01 to W{last}: there is no W{number:02d} in it."
            raise FieldError("week", message)
        return cls(year, number)

    @classmethod
    def counted(cls, count: int) -> "IsoWeek":
        """The week of that number, `count` turned round."""
        return cls.of(date.fromordinal(7 * count + 1))

    @property
    def count(self) -> int:
        """Its number from Monday, 1 January of the year 1: the next week's is one more."""
        return (self.monday.toordinal() - 1) // 7

    @property
    def monday(self) -> date:
        """Its first day."""
        return date.fromisocalendar(self.year, self.number, 1)

    @property
    def sunday(self) -> date:
        """Its last day."""
        return self.monday + timedelta(days=6)

    def plus(self, weeks: int) -> "IsoWeek":
        """The week so many weeks later."""
        return IsoWeek.of(self.monday + timedelta(weeks=weeks))

    def span(self, zone: tzinfo) -> tuple[datetime, datetime]:
        """Its first instant, and the first instant after it."""
        ends = (self.monday, self.monday + timedelta(weeks=1))
        since, until = (datetime.combine(day, time(), zone) for day in ends)
        return since, until

    def last_instant(self, zone: tzinfo) -> datetime:
        """Its end: what applies then is what the week is judged by."""
        return self.span(zone)[1] - timedelta(microseconds=1)

    def __str__(self) -> str:
        return f"{self.year}-W{self.number:02d}"


def weeks_to(last: IsoWeek, count: int) -> list[IsoWeek]:
    """So many weeks up to and with the last, the oldest first."""
    return [last.plus(-back) for back in range(count - 1, -1, -1)]
