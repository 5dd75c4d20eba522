"""How many duties fall into each week of the year to come, so that a full week is seen early."""

from collections.abc import Iterable
from datetime import date, timedelta

from app.domain.duties.due import DueItem

WEEKS = 52
WEEK = timedelta(days=7)


def weeks_ahead(items: Iterable[DueItem], today: date) -> tuple[int, ...]:
    """The number of duties due in each of the next 52 weeks, from the Monday of this week.

    What is overdue counts now. Each is taken to be done on its day and to come again after its
    interval; what has a day of its own (the end of a certificate or a qualification) comes once.
    """
    first = today - timedelta(days=today.weekday())
    counts = [0] * WEEKS
    for item in items:
        for day in _days(item, today, first + WEEKS * WEEK):
            counts[(day - first) // WEEK] += 1
    return tuple(counts)


def _days(item: DueItem, today: date, until: date) -> Iterable[date]:
    day = max(item.due_on, today)
    is_once = item.subject.due_on is not None or item.subject.ends_on is not None
    while day < until:
        yield day
        if is_once:
            return
        day = _next(item, day)


def _next(item: DueItem, day: date) -> date:
    if item.duty.is_monthly:
        return (day.replace(day=1) + timedelta(days=31)).replace(day=1)
    return day + timedelta(days=max(1, item.duty.every_days))
