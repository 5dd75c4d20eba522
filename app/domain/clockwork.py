"""Whether the machine's clock can be believed: a wrong one dates everything that is logged."""

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Literal

FAR_AHEAD = timedelta(days=45)
"""A room that logs washes is never so long without an entry (common practice, no source)."""
FAR_BEHIND = timedelta(minutes=15)
"""Clocks are set back by seconds when they are kept in step; not by so much."""
GREATEST_STEP = timedelta(minutes=2)
"""What a clock that is kept in step may move at once (common practice, no source)."""


@dataclass(frozen=True)
class ClockDoubt:
    """Why the clock is doubted.

    Attributes:
        way: `ahead` of the last entry by too much, or `behind` it.
        last_at: when the clock said the last entry was recorded.
        now: what it says now.
    """

    way: Literal["ahead", "behind"]
    last_at: datetime
    now: datetime


def clock_doubt(last_recorded_at: datetime | None, now: datetime) -> ClockDoubt | None:
    """The doubt that the last recorded entry casts on the clock; None where there is none.

    >>> from datetime import UTC
    >>> then = datetime(2026, 3, 2, tzinfo=UTC)
    >>> clock_doubt(then, then + timedelta(days=365)).way
    'ahead'
    >>> clock_doubt(then, then + timedelta(days=30)) is None
    True
    """
    if last_recorded_at is None:
        return None
    if now - last_recorded_at > FAR_AHEAD:
        return ClockDoubt("ahead", last_recorded_at, now)
    if last_recorded_at - now > FAR_BEHIND:
        return ClockDoubt("behind", last_recorded_at, now)
    return None


class ClockWatch:
    """Sees the clock jump while the program runs, against one that only counts on."""

    def __init__(self, now: datetime, steady_s: float) -> None:
        """`now` and `steady_s` are what both clocks say at the start."""
        self._now, self._steady_s = now, steady_s

    def jump(self, now: datetime, steady_s: float) -> timedelta:
        """By how much the clock was put forward (or back, negative) since; zero for small steps.

        >>> from datetime import UTC
        >>> then = datetime(2026, 3, 2, tzinfo=UTC)
        >>> ClockWatch(then, 0.0).jump(then + timedelta(hours=2), 3600.0)
        datetime.timedelta(seconds=3600)
        """
        moved = (now - self._now) - timedelta(seconds=steady_s - self._steady_s)
        return moved if abs(moved) > GREATEST_STEP else timedelta()

    def believe(self, now: datetime, steady_s: float) -> None:
        """Somebody has looked: the clock is right as it stands."""
        self._now, self._steady_s = now, steady_s
