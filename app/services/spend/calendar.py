"""Which week an instant of the log falls into, quickly."""

from bisect import bisect_right
from functools import lru_cache
from zoneinfo import ZoneInfo

from app.domain.spend.weeks import IsoWeek
from app.store.instants import to_us

FIRST_YEAR, LAST_YEAR = 1990, 2100


class Calendar:
    """The weeks of a time zone by their count and by their first instants in microseconds."""

    def __init__(self, time_zone: str) -> None:
        self.zone = ZoneInfo(time_zone)
        self.first = IsoWeek(FIRST_YEAR, 1).count
        counts = range(self.first, IsoWeek(LAST_YEAR, 1).count)
        self._starts = [to_us(IsoWeek.counted(one).span(self.zone)[0]) for one in counts]

    def week_of(self, moment_us: int) -> int:
        """The count of the week of an instant."""
        place = bisect_right(self._starts, moment_us)
        if 0 < place < len(self._starts):
            return self.first + place - 1
        return self.first - 1 if place == 0 else self.first + len(self._starts)

    def start_us(self, week: int) -> int:
        """The first instant of a week."""
        place = week - self.first
        if place < 0:
            return -(2**62)
        return self._starts[place] if place < len(self._starts) else 2**62


@lru_cache(maxsize=16)
def calendar_of(time_zone: str) -> Calendar:
    """The weeks of a time zone."""
    return Calendar(time_zone)
