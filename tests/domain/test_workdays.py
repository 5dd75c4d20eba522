"""The working days of a site, against numpy's business days."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.workdays import WorkCalendar, closures

DAYS = st.dates(date(2024, 1, 1), date(2030, 1, 1))
WEEKS = st.frozensets(st.integers(1, 7), min_size=1)
CLOSED = st.sets(st.integers(-200, 200), max_size=40)


def calendar(day: date, weekdays: frozenset[int], closed: set[int]) -> WorkCalendar:
    return WorkCalendar(weekdays, {day + timedelta(n): "Closed" for n in closed})


def of_numpy(workdays: WorkCalendar) -> np.busdaycalendar:
    mask = [number in workdays.weekdays for number in range(1, 8)]
    return np.busdaycalendar(mask, sorted(workdays.closed))


@given(day=DAYS, count=st.integers(0, 80), weekdays=WEEKS, closed=CLOSED)
def test_working_days_are_counted_as_numpy_counts_them(
    day: date, count: int, weekdays: frozenset[int], closed: set[int]
) -> None:
    workdays = calendar(day, weekdays, closed)
    known = of_numpy(workdays)
    # What takes no day comes on the first working day; otherwise the count starts after the day.
    roll = "forward" if count == 0 else "backward"
    later = np.busday_offset(day, count, roll=roll, busdaycal=known)
    assert workdays.later(day, count) == later.astype(date)
    earlier = np.busday_offset(day, -count, roll="backward", busdaycal=known)
    assert workdays.earlier(day, count) == earlier.astype(date)


@given(day=DAYS, count=st.integers(0, 80), weekdays=WEEKS, closed=CLOSED)
def test_what_is_asked_for_on_the_latest_day_comes_in_time_and_a_day_later_does_not(
    day: date, count: int, weekdays: frozenset[int], closed: set[int]
) -> None:
    workdays = calendar(day, weekdays, closed)
    ask_on = workdays.earlier(day, count)
    assert workdays.later(ask_on, count) <= day
    next_chance = workdays.on_or_after(ask_on + timedelta(days=1))
    assert workdays.later(next_chance, count) > day


@given(first=DAYS, length=st.integers(0, 60), weekdays=WEEKS, closed=CLOSED)
def test_the_working_days_of_a_span_are_all_of_them_and_each_other_day_says_why(
    first: date, length: int, weekdays: frozenset[int], closed: set[int]
) -> None:
    workdays, last = calendar(first, weekdays, closed), first + timedelta(days=length)
    found = workdays.days(first, last)
    assert len(found) == np.busday_count(
        first, last + timedelta(days=1), busdaycal=of_numpy(workdays)
    )
    for n in range(length + 1):
        day = first + timedelta(n)
        assert workdays.is_working(day) == (day in found) == (not workdays.why_not(day))


def test_a_leap_day_is_a_day() -> None:
    assert WorkCalendar().later(date(2028, 2, 28), 1) == date(2028, 2, 29)
    assert WorkCalendar().earlier(date(2028, 3, 1), 1) == date(2028, 2, 29)


def test_a_day_that_is_not_worked_says_why() -> None:
    workdays = WorkCalendar(closed={date(2027, 1, 1): "New Year's Day", date(2027, 1, 4): ""})
    assert workdays.why_not(date(2027, 1, 1)) == "Closed: New Year's Day"
    assert workdays.why_not(date(2027, 1, 3)) == "Sundays are not working days"
    assert workdays.why_not(date(2027, 1, 4)) == "Closed"
    assert workdays.why_not(date(2027, 1, 5)) == ""


def test_own_closures_are_days_and_spans_with_a_name() -> None:
    found = closures("2026-12-30 to 2027-01-02 Works holiday; 2027-05-07")
    assert found == {
        **{date(2026, 12, 30) + timedelta(n): "Works holiday" for n in range(4)},
        date(2027, 5, 7): "",
    }
    assert closures(" ; ") == {}
    assert closures("2026-12-28 Inventory\n2026-12-29") == {
        date(2026, 12, 28): "Inventory",
        date(2026, 12, 29): "",
    }


@pytest.mark.parametrize(
    "text, said",
    [
        ("next Monday", "does not begin with a day"),
        ("2026-02-30 Inventory", "names a day that does not exist"),
        ("2026-12-30 to 2026-12-29", "ends before it begins"),
        ("2026-01-01 to 2026-12-31", "is longer than 92 days"),
    ],
)
def test_what_is_no_closure_is_said_in_words(text: str, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        closures(text)
