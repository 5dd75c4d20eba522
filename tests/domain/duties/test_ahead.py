"""The weeks ahead, counted out by hand on a calendar."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

from app.domain.duties.ahead import WEEKS, weeks_ahead
from app.domain.duties.catalogue import CATALOGUE
from app.domain.duties.due import DueItem, Subject

MONDAY = date(2026, 11, 30)
DUTY = replace(next(iter(CATALOGUE.values())), every_days=7, is_monthly=False)
ROOM = Subject("", "", datetime(2026, 1, 1, tzinfo=UTC))


def item(due_on: date, **changes: object) -> DueItem:
    duty = replace(DUTY, **changes)  # type: ignore[arg-type]
    return DueItem(duty, ROOM, due_on, "later", 0, None)


def test_a_weekly_duty_is_due_once_in_every_week() -> None:
    assert weeks_ahead([item(MONDAY)], MONDAY) == (1,) * WEEKS


def test_what_is_overdue_is_due_now_whatever_the_day_of_the_week() -> None:
    thursday = MONDAY + timedelta(days=3)
    counts = weeks_ahead([item(MONDAY - timedelta(days=40), every_days=365)], thursday)
    assert counts == (1, *(0,) * (WEEKS - 1))


def test_a_monthly_one_comes_on_the_first_of_each_month() -> None:
    """Firsts of 2026-12 to 2027-11 by the calendar: Tue 1 Dec is in week 0, Fri 1 Jan in week 4,
    Mon 1 Feb begins week 9, Mon 1 Mar week 13."""
    counts = weeks_ahead([item(date(2026, 12, 1), is_monthly=True)], MONDAY)
    assert [week for week, count in enumerate(counts) if count][:4] == [0, 4, 9, 13]
    assert sum(counts) == 12


def test_what_has_an_end_comes_once() -> None:
    ending = replace(ROOM, ends_on=date(2027, 1, 15))
    one = replace(item(date(2026, 12, 16)), subject=ending)
    assert weeks_ahead([one], MONDAY) == (0, 0, 1, *(0,) * (WEEKS - 3))


def test_a_duty_past_the_year_is_not_counted() -> None:
    assert sum(weeks_ahead([item(MONDAY + timedelta(weeks=WEEKS))], MONDAY)) == 0
