"""Replay a room's log as the live program would have seen it, and report what it would have said.

Entries become known at their `known_at`; nothing that lies or was entered later has a say. Late
entries, corrections and withdrawals change the past from then on, as they do live.
"""

import zlib
from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta, tzinfo
from itertools import groupby, pairwise
from typing import Any

import numpy as np

from app.domain.baths.estimator import RoomFilter
from app.domain.baths.forecast import Crossing, first_limit_ahead
from app.domain.baths.forecast.keeping import follow
from app.domain.roomlog.history import History, Place
from app.domain.roomlog.kinds import Entry, PlannedWash, Reading, Swap

CHECKPOINT_EVERY = 60
CHECKPOINTS_KEPT = 48
QUIET = timedelta(days=14)  # so long after an entry midnights are reported on, then the next entry


@dataclass(frozen=True)
class Report:
    """What was known of a tank at an instant.

    Attributes:
        mean_percent, p05_percent, p95_percent: the estimate, mass percent.
        crossing: the forecast of when the first limit is passed.
        limit_percent: that limit, mass percent.
    """

    at: datetime
    tank: str
    mean_percent: float
    p05_percent: float
    p95_percent: float
    crossing: Crossing
    limit_percent: float
    flags: tuple[str, ...]


@dataclass(frozen=True)
class Gap:
    """A stretch without entries whose midnights are not reported on.

    Attributes:
        from_at, to_at: the entries before and after it.
        midnights: how many are left out.
    """

    from_at: datetime
    to_at: datetime
    midnights: int


def to_json(report: Report) -> dict[str, Any]:
    """A report as a line of the backtest's output."""
    crossing = report.crossing
    return {
        "at": report.at.isoformat(),
        "tank": report.tank,
        "saturation_percent": {
            "mean": round(report.mean_percent, 4),
            "p05": round(report.p05_percent, 4),
            "p95": round(report.p95_percent, 4),
        },
        "crossing": {
            "p10": _iso(crossing.p10_at),
            "p50": _iso(crossing.p50_at),
            "p90": _iso(crossing.p90_at),
        },
        "limit_percent": round(report.limit_percent, 4),
        "flags": list(report.flags),
    }


def backtest(
    entries: Sequence[Entry],
    at: Iterable[datetime] | None = None,
    zone: tzinfo = UTC,
    room_key: str = "",
) -> Iterator[Report]:
    """The reports of a replay, in order of time.

    Args:
        entries: the log in the order of its lines.
        at: instants at which to report on every tank; without them, a tank is reported on after
            each of its readings and swaps, and every tank at each midnight up to two weeks after
            an entry (`gaps` tells which are left out).
        zone: the room's zone, for midnights and weekdays.
        room_key: the forecasts' random numbers are drawn for the room, as they are live.
    """
    replay = Replay(entries, zone, room_key)
    for instant, tanks in replay.asked(at):
        yield from replay.report(instant, tanks)


def gaps(entries: Iterable[Entry], zone: tzinfo = UTC) -> list[Gap]:
    """Where midnights are left out: from two weeks after an entry up to the next one."""
    found = []
    for (_, end), (start, _) in pairwise(_stretches(_known(entries))):
        first, last = ((end + QUIET).astimezone(zone), start.astimezone(zone))
        midnights = (last.date() - first.date()).days - (last.time() == time())
        if midnights > 0:
            found.append(Gap(end, start, midnights))
    return found


def _known(entries: Iterable[Entry]) -> list[datetime]:
    """When entries became known, in order; plans may be known from the start of time."""
    return sorted(entry.known_at for entry in entries if not isinstance(entry, PlannedWash))


def _stretches(known: Sequence[datetime]) -> list[tuple[datetime, datetime]]:
    """First and last instant of each stretch in which entries follow each other."""
    starts = [i for i, at in enumerate(known) if i == 0 or at - known[i - 1] > QUIET]
    ends = [*starts[1:], len(known)][: len(starts)]
    return [(known[i], known[end - 1]) for i, end in zip(starts, ends, strict=True)]


def _report(room: RoomFilter, tank: str, at: datetime, applied: int, room_key: str) -> Report:
    belief = room.belief(tank, at)
    seed = zlib.crc32(f"{room_key}/{tank}/{applied}".encode())
    crossing = first_limit_ahead(room, belief, np.random.default_rng(seed))
    return Report(
        at,
        tank,
        belief.mean_percent,
        belief.p05_percent,
        belief.p95_percent,
        crossing,
        belief.limit_percent,
        belief.flags,
    )


class Replay:
    """The room as it was known at an instant, moved forward from one instant to the next."""

    def __init__(self, entries: Sequence[Entry], zone: tzinfo = UTC, room_key: str = "") -> None:
        self.zone, self.room_key = zone, room_key
        self._lines = sorted(enumerate(entries), key=lambda line: (line[1].known_at, line[0]))
        self._next_line = 0
        self._history = History()
        self._filter = RoomFilter(zone=zone)
        self._applied = 0
        self._changed: Place | None = None
        self._checkpoints: list[tuple[int, bytes]] = []

    def asked(self, at: Iterable[datetime] | None) -> Iterator[tuple[datetime, Collection[str]]]:
        """The instants to report at, `at` or else the occasions, each learned up to; with the
        tanks meant."""
        given = None if at is None else ((instant, None) for instant in sorted(at))
        for instant, tanks in self.occasions() if given is None else given:
            self.advance(instant)
            yield instant, self.tanks() if tanks is None else tanks

    def occasions(self) -> Iterator[tuple[datetime, set[str] | None]]:
        """The instants to report at, with the tanks meant; None means all of them."""
        midnights = self._midnights()
        midnight = next(midnights, None)
        for known_at, lines in groupby(self._lines, key=lambda line: line[1].known_at):
            while midnight is not None and midnight < known_at:
                yield midnight, None
                midnight = next(midnights, None)
            if midnight == known_at:
                yield known_at, None
                midnight = next(midnights, None)
            elif tanks := {e.tank for _, e in lines if isinstance(e, Reading | Swap)}:
                yield known_at, tanks

    def advance(self, instant: datetime) -> RoomFilter:
        """Learn all that became known up to and including an instant; the filter after it."""
        while self._next_line < len(self._lines):
            sequence, entry = self._lines[self._next_line]
            if entry.known_at > instant:
                break
            place = self._history.learn(entry, sequence)
            if place is not None and (self._changed is None or place < self._changed):
                self._changed = place
            self._next_line += 1
        self._catch_up()
        return self._filter

    def tanks(self) -> set[str]:
        """The tanks in use at present."""
        return {key for key, facts in self._filter.tanks.items() if not facts.is_retired}

    def report(self, instant: datetime, tanks: Iterable[str]) -> Iterator[Report]:
        """What is known of some tanks at an instant, in the order of their keys."""
        for tank in self.known(tanks):
            yield _report(self._filter, tank, instant, self._applied, self.room_key)

    def known(self, tanks: Iterable[str]) -> tuple[str, ...]:
        """Those of some tanks that are set up by now, in the order of their keys."""
        return tuple(sorted(tank for tank in tanks if tank in self._filter.tanks))

    def _midnights(self) -> Iterator[datetime]:
        """Each midnight of the room between the first and the last entry that is not a plan, but
        for those of `gaps`."""
        stretches = _stretches(_known(entry for _, entry in self._lines))
        for number, (start, end) in enumerate(stretches):
            is_last = number == len(stretches) - 1
            until = end if is_last else end + QUIET
            day = start.astimezone(self.zone).date() - timedelta(days=number > 0)
            while True:
                day += timedelta(days=1)
                midnight = datetime(day.year, day.month, day.day, tzinfo=self.zone).astimezone(UTC)
                if midnight > until:
                    break
                if midnight >= start:
                    yield midnight

    def _catch_up(self) -> None:
        """Apply what has been learned since, from the place on whose past changed."""
        if self._changed is None:
            return
        unchanged = self._history.first_after(self._changed)
        self._changed = None
        if unchanged < self._applied:
            self._rewind(unchanged)
        entries = self._history.entries
        while self._applied < len(entries):
            follow(self._filter, entries[self._applied])
            self._applied += 1
            if self._applied % CHECKPOINT_EVERY == 0:
                self._checkpoints.append((self._applied, self._filter.to_bytes()))
        self._thin()

    def _rewind(self, unchanged: int) -> None:
        """Go back to the last checkpoint that holds only entries before a place in the history."""
        while self._checkpoints and self._checkpoints[-1][0] > unchanged:
            self._checkpoints.pop()
        if self._checkpoints:
            self._applied, kept = self._checkpoints[-1]
            self._filter = RoomFilter.from_bytes(kept)
        else:
            self._applied, self._filter = 0, RoomFilter(zone=self.zone)

    def _thin(self) -> None:
        """Of the older half keep every other one: late entries are mostly a little late."""
        if len(self._checkpoints) > CHECKPOINTS_KEPT:
            half = CHECKPOINTS_KEPT // 2
            self._checkpoints = self._checkpoints[:half:2] + self._checkpoints[half:]


def _iso(instant: datetime | None) -> str | None:
    return None if instant is None else instant.isoformat()
