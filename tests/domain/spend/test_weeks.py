"""Weeks held against ISO 8601's own edge cases."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import FieldError
from app.domain.spend.weeks import IsoWeek, weeks_to


@pytest.mark.parametrize(
    "day,week",
    # ISO 8601:2004, 3.2.2 and its notes: years 2020 with 53 weeks; days of January that belong to
    # the year before, days of December that belong to the year after.
    [
        (date(2020, 12, 28), "2020-W53"),
        (date(2021, 1, 3), "2020-W53"),
        (date(2021, 1, 4), "2021-W01"),
        (date(2025, 12, 28), "2025-W52"),
        (date(2025, 12, 29), "2026-W01"),
        (date(2026, 1, 4), "2026-W01"),
        (date(2026, 1, 5), "2026-W02"),
        (date(2026, 12, 31), "2026-W53"),
        (date(2027, 1, 3), "2026-W53"),
        (date(2005, 1, 1), "2004-W53"),
        (date(2005, 1, 2), "2004-W53"),
        (date(2008, 12, 29), "2009-W01"),
    ],
)
def test_days_at_the_turn_of_the_year_are_in_the_week_of_their_thursday(
    day: date, week: str
) -> None:
    assert str(IsoWeek.of(day)) == week
    assert IsoWeek.parsed(week).monday <= day <= IsoWeek.parsed(week).sunday


@given(st.dates(date(1971, 1, 4), date(2190, 1, 1)), st.integers(-300, 300))
def test_weeks_count_without_a_gap(day: date, steps: int) -> None:
    week = IsoWeek.of(day)
    assert (week.plus(steps).monday - week.monday).days == 7 * steps
    assert IsoWeek.parsed(str(week)) == week


def test_a_week_ends_at_midnight_of_the_rooms_own_zone() -> None:
    # 2026-03-29 is the day on which summer time begins in Europe (directive 2000/84/EC).
    zone = ZoneInfo("Europe/Dublin")
    since, until = IsoWeek.parsed("2026-W13").span(zone)
    assert since.astimezone(UTC) == datetime(2026, 3, 23, 0, tzinfo=UTC)
    assert until.astimezone(UTC) == datetime(2026, 3, 29, 23, tzinfo=UTC)
    late = datetime(2026, 3, 29, 23, 30, tzinfo=UTC)
    assert str(IsoWeek.at(late, zone)) == "2026-W14"
    assert str(IsoWeek.at(late, UTC)) == "2026-W13"


def test_thirteen_weeks_end_with_the_one_asked_for() -> None:
    shown = weeks_to(IsoWeek(2021, 2), 13)
    assert [str(week) for week in shown[-3:]] == ["2020-W53", "2021-W01", "2021-W02"]
    assert len(shown) == 13


@pytest.mark.parametrize(
    "text,message",
    [
        ("2025-W53", "2025 has the weeks W01 to W52: there is no W53 in it."),
        ("2026-W54", "2026 has the weeks W01 to W53"),
        ("2026-W00", "there is no W00"),
        ("W53", "Give its year and number, such as 2026-W09"),
        ("2026W09", "is not a week"),
        ("2026-W9", "is not a week"),
        ("", "is not a week"),
        ("\u0662\u0660\u0662\u0666-W09", "is not a week"),
        ("1900-W01", "Weeks are shown from 1970"),
    ],
)
def test_what_is_no_week_is_refused_with_its_reason(text: str, message: str) -> None:
    with pytest.raises(FieldError, match=message):
        IsoWeek.parsed(text)


@pytest.mark.parametrize(
    "year,weeks",
    [(2004, 53), (2009, 53), (2015, 53), (2020, 53), (2026, 53), (2024, 52), (2025, 52)],
)
def test_years_have_the_weeks_that_the_standard_gives_them(year: int, weeks: int) -> None:
    # ISO 8601: a year has 53 weeks where 1 January is a Thursday, or a Wednesday of a leap year.
    assert IsoWeek.parsed(f"{year}-W{weeks}").number == weeks
    with pytest.raises(FieldError):
        IsoWeek.parsed(f"{year}-W{weeks + 1}")
