"""The day on which the tests take place: the same one whenever they run.

`BATHKEEPER_TEST_DAY` names another, as the start of the run: 2027-01-02T09:30:00+00:00.
"""

import os
from datetime import UTC, datetime

from app.clock import VARIABLE

THE_DAY = "2026-11-25T14:00:00+00:00"
"""A Wednesday at work: the demo then has days before and after it in week and month."""

OTHER_DAYS = (
    "2026-11-28T19:00:00+00:00",  # Saturday
    "2026-11-29T10:00:00+00:00",  # Sunday
    "2026-11-30T23:40:00+00:00",  # the month's last hour
    "2026-12-01T00:20:00+00:00",  # the month's first
    "2026-12-02T09:00:00+00:00",
    "2026-12-03T05:00:00+00:00",
    "2026-12-24T13:00:00+00:00",
    "2026-12-25T11:00:00+00:00",
    "2026-12-31T22:30:00+00:00",  # in ISO week 53
    "2027-01-01T08:00:00+00:00",  # still week 53, another year
    "2027-01-02T09:30:00+00:00",
    "2027-01-03T20:00:00+00:00",  # the last day of week 53
    "2027-01-04T06:10:00+00:00",  # the first day of week 1
    "2027-01-31T12:00:00+00:00",
    "2027-02-01T07:00:00+00:00",
    "2027-02-28T15:00:00+00:00",
    "2027-03-01T09:00:00+00:00",
    "2027-03-27T23:30:00+00:00",  # the evening before summer time
    "2027-03-28T00:59:30+00:00",  # half a minute before the clock is put forward
    "2027-03-28T01:30:00+00:00",  # after it
    "2027-03-29T09:00:00+00:00",
    "2027-04-30T16:00:00+00:00",
    "2027-05-01T09:00:00+00:00",
    "2027-06-15T02:00:00+00:00",
    "2027-06-30T23:30:00+00:00",  # July in Dublin
    "2027-07-04T13:00:00+00:00",
    "2027-08-31T12:00:00+00:00",
    "2027-09-01T05:30:00+00:00",
    "2027-09-10T10:00:00+00:00",  # Friday
    "2027-09-11T18:00:00+00:00",
    "2027-10-30T23:30:00+00:00",
    "2027-10-31T00:30:00+00:00",  # an hour that comes twice
    "2027-10-31T01:30:00+00:00",  # the second time
    "2027-11-01T08:00:00+00:00",
    "2027-12-31T23:59:00+00:00",
    "2028-01-01T00:01:00+00:00",
    "2028-02-28T12:00:00+00:00",
    "2028-02-29T12:00:00+00:00",
    "2028-03-01T00:30:00+00:00",
    "2028-03-26T00:30:00+00:00",
    "2028-10-29T00:59:00+00:00",
    "2029-12-31T10:00:00+00:00",  # a Monday that is in week 1 of the next year
    "2032-12-27T03:00:00+00:00",  # the first day of a week 53
)
"""Weekends, ends of months and years, ISO weeks 53, both changes of the clock, 29 February."""

SOME_DAYS = (
    "2026-11-28T19:00:00+00:00", "2027-01-02T09:30:00+00:00",
    "2027-10-31T00:30:00+00:00", "2028-02-29T12:00:00+00:00",
)  # fmt: skip
"""The days on which a nightly run tries what may differ by the day."""

ONE_DAY = ("2027-10-31T00:30:00+00:00",)
"""And any other run: a Sunday, the month's last day, in an hour that comes twice."""


def set_the_day() -> None:
    """Move the clock of this process, and of those it starts, to the tests' day."""
    if VARIABLE not in os.environ:
        day = datetime.fromisoformat(os.environ.get("BATHKEEPER_TEST_DAY") or THE_DAY)
        os.environ[VARIABLE] = ahead_s(day)


def ahead_s(day: datetime) -> str:
    """By how much the clock must be ahead for `day` to begin now."""
    return f"{(day - datetime.now(UTC)).total_seconds():.3f}"
