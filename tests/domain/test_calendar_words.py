"""Days in words. The calendar of 2026 and 2027 by ISO 8601: 1 January 2026 is a Thursday."""

from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

from app.domain.calendar_words import day_words, moment_words


def test_a_day_of_this_year_goes_without_its_year() -> None:
    assert day_words(date(2026, 1, 1), date(2026, 12, 31)) == "Thu 1 Jan"


def test_a_day_of_another_year_says_which_however_near_it_is() -> None:
    assert day_words(date(2027, 1, 1), date(2026, 12, 31)) == "Fri 1 Jan 2027"


def test_a_day_that_nothing_is_near_to_has_its_year() -> None:
    assert day_words(date(2026, 3, 2)) == "Mon 2 Mar 2026"
    assert day_words(None) == ""


def test_an_instant_stands_in_the_time_of_its_zone() -> None:
    at = datetime(2026, 3, 1, 23, 30, tzinfo=UTC)
    assert moment_words(at, ZoneInfo("Europe/Berlin")) == "Mon 2 Mar 2026 00:30"
