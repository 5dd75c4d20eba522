"""The room's own record of its forecasts: what was said, and what was measured later.

A forecast is kept at the end of the day on which the estimate of a fill first stood at half of its
limit, and again at four fifths: what the filter says then of everything that had happened by then,
so that a log that comes in late or at once has the record of one that was kept day by day. It is
judged by the last reading of the fill that counted, at least a day later: was the bath then as far
as was said? Fuller means sooner than said, and less full later, for the chance that a limit is
passed by a day is the chance that the bath stands above it then.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.recalibration import NOMINAL, Case, Levels, levels_of

STAGES = (0.5, 0.8)
SEEN_AFTER = timedelta(days=1)
FILLS_KEPT = 60
DAY = timedelta(days=1)
FIGURES = 5  # of a day ahead: 10, 50 and 90 % as computed, then 10 and 90 % as said

Outcome = Literal["as_said", "sooner", "later"]


@dataclass(frozen=True)
class Said:
    """A forecast as it was said.

    Attributes:
        tank, fill: of which bath; `stage` the share of its limit that it had reached.
        at: the end of the day; `entry` the one that brought the bath there.
        limit_percent: the limit then, mass percent.
        early_at, middle_at, late_at: when it would be passed with 10, 50 and 90 %; None beyond a
            year.
        days, percents: days ahead, and the saturation then in mass percent: 10, 50, 90 % as
            computed, and 10 and 90 % as said with the record of then.
        passed_at: the first entry after which the estimate stood above the limit.
        seen_at, seen_percent, seen_sd_percent: the estimate with the last reading that counted.
        ended_at: the swap that ended the fill; None while it goes on.
    """

    tank: str
    fill: int
    stage: float
    at: datetime
    entry: str | None
    limit_percent: float
    early_at: datetime | None
    middle_at: datetime | None
    late_at: datetime | None
    days: tuple[float, ...]
    percents: tuple[tuple[float, ...], ...]
    passed_at: datetime | None = None
    seen_at: datetime | None = None
    seen_percent: float = 0.0
    seen_sd_percent: float = 0.0
    ended_at: datetime | None = None

    def at_instant(self, at: datetime) -> tuple[float, ...] | None:
        """What was said of an instant; None where it lies behind the last day looked at."""
        ahead = (at - self.at) / DAY
        place = bisect_left(self.days, ahead)
        if place >= len(self.days):
            return None
        if place == 0:
            return self.percents[0]
        before, after = self.days[place - 1], self.days[place]
        share = (ahead - before) / (after - before)
        pair = zip(self.percents[place - 1], self.percents[place], strict=True)
        return tuple(low + share * (high - low) for low, high in pair)

    def seen(self, at: datetime, percent: float, sd_percent: float) -> "Said":
        """The same with a later reading, where what was said reaches so far."""
        if at - self.at < SEEN_AFTER or self.at_instant(at) is None:
            return self
        return replace(self, seen_at=at, seen_percent=percent, seen_sd_percent=sd_percent)

    def ended(self, at: datetime) -> "Said":
        """The same once its fill has ended; of the days ahead that of the last reading stays."""
        said = None if self.seen_at is None else self.at_instant(self.seen_at)
        if self.seen_at is None or said is None:
            return replace(self, ended_at=at)
        ahead = (self.seen_at - self.at) / DAY
        return replace(self, ended_at=at, days=(ahead,), percents=(said,))

    @property
    def range_percent(self) -> tuple[float, float] | None:
        """What was said of the instant of the last reading, mass percent; None without one."""
        said = None if self.seen_at is None else self.at_instant(self.seen_at)
        return None if said is None else (said[3], said[4])

    @property
    def outcome(self) -> Outcome | None:
        """What came of it; None while no reading tells."""
        said = self.range_percent
        if said is None:
            return None
        if self.seen_percent > said[1]:
            return "sooner"
        return "later" if self.seen_percent < said[0] else "as_said"


@dataclass
class Record:
    """What was said of a room's baths.

    Attributes:
        open: of fills that go on; `closed` of those that ended and were read, oldest first.
        due: by tank, the stage that its fill has reached, the entry, and the midnight to say it.
        packed: the record as bytes, where nothing has changed since.
    """

    open: list[Said] = field(default_factory=list)
    closed: list[Said] = field(default_factory=list)
    due: dict[str, tuple[float, str | None, datetime]] = field(default_factory=dict)
    packed: bytes | None = field(default=None, compare=False)

    @cached_property
    def levels(self) -> Levels:
        """The room's own levels, from the fills that ended."""
        return levels_of(_cases(self.closed)) if self.closed else NOMINAL

    def to_json(self) -> list[Any]:
        """As JSON values."""
        due = [
            [tank, stage, entry, at.isoformat()] for tank, (stage, entry, at) in self.due.items()
        ]
        return [[_values(said) for said in some] for some in (self.open, self.closed)] + [due]

    @classmethod
    def from_json(cls, values: list[Any]) -> "Record":
        """The record of `to_json`."""
        some_open, closed, due = values
        record = cls([_said(one) for one in some_open], [_said(one) for one in closed])
        for tank, stage, entry, at in due:
            record.due[tank] = (stage, entry, datetime.fromisoformat(at))
        return record

    def stage_said(self, tank: str, fill: int) -> float:
        """The last stage at which a forecast of a fill was said, 0 where none was."""
        return max((s.stage for s in self.open if (s.tank, s.fill) == (tank, fill)), default=0.0)

    def call_for(self, tank: str, stage: float, entry: str | None, at: datetime) -> None:
        """A forecast is to be said at the end of a day."""
        known = self.due.get(tank)
        if known is None or known[0] < stage:
            self.due[tank] = (stage, entry, at if known is None else known[2])
            self.forget()

    def say(self, said: Said) -> None:
        """Keep what was said."""
        self.open.append(said)
        self.forget()

    def passed(self, tank: str, at: datetime) -> None:
        """The estimate of a tank stands above its limit."""
        if any(one.tank == tank and one.passed_at is None for one in self.open):
            self.open = [
                replace(one, passed_at=at) if one.tank == tank and one.passed_at is None else one
                for one in self.open
            ]
            self.forget()

    def see(self, tank: str, at: datetime, percent: float, sd_percent: float) -> None:
        """A reading counted: the estimate with it."""
        if any(one.tank == tank for one in self.open):
            self.open = [
                one.seen(at, percent, sd_percent) if one.tank == tank else one for one in self.open
            ]
            self.forget()

    def end(self, tank: str, fill: int, at: datetime) -> None:
        """A fill began: what was said of the tank's fill before is judged."""
        self.due.pop(tank, None)
        ended = [one for one in self.open if one.tank == tank and one.fill < fill]
        self.open = [one for one in self.open if one not in ended]
        self.closed += [one.ended(at) for one in ended if one.seen_at is not None]
        while len({(one.tank, one.fill) for one in self.closed}) > FILLS_KEPT:
            first = self.closed[0]
            self.closed = [s for s in self.closed if (s.tank, s.fill) != (first.tank, first.fill)]
        self.__dict__.pop("levels", None)
        self.forget()

    def forget(self) -> None:
        """Drop the bytes of an earlier state of the record."""
        self.packed = None


@dataclass(frozen=True)
class Tally:
    """Of how many fills something was said, and of how many it held."""

    fills: int
    as_said: int
    sooner: int
    later: int


def tally(closed: Sequence[Said]) -> Tally:
    """By fill, each by the first forecast of it that can be judged: the one furthest ahead."""
    first: dict[tuple[str, int], Outcome] = {}
    for one in closed:
        if one.outcome is not None:
            first.setdefault((one.tank, one.fill), one.outcome)
    found = list(first.values())
    return Tally(len(found), found.count("as_said"), found.count("sooner"), found.count("later"))


def _cases(closed: Sequence[Said]) -> list[Case]:
    """The forecasts that can be judged; those of one fill weigh one together."""
    counts: dict[tuple[str, int], int] = {}
    for one in closed:
        counts[one.tank, one.fill] = counts.get((one.tank, one.fill), 0) + 1
    cases = []
    for one in closed:
        said = None if one.seen_at is None else one.at_instant(one.seen_at)
        if said is not None:
            weight = 1 / counts[one.tank, one.fill]
            low, middle, high, *_ = said
            seen = one.seen_percent, one.seen_sd_percent
            cases.append(Case(low, middle, high, *seen, weight))
    return cases


MOMENTS = ("at", "early_at", "middle_at", "late_at", "passed_at", "seen_at", "ended_at")


def _values(said: Said) -> dict[str, Any]:
    values = dict(vars(said))
    for name in MOMENTS:
        values[name] = None if values[name] is None else values[name].isoformat()
    return values


def _said(values: dict[str, Any]) -> Said:
    moments = {
        name: None if values[name] is None else datetime.fromisoformat(values[name])
        for name in MOMENTS
    }
    percents = tuple(tuple(row) for row in values["percents"])
    return Said(**{**values, **moments, "days": tuple(values["days"]), "percents": percents})


def figures(percent: NDArray[np.floating[Any]], levels: Levels) -> tuple[float, ...]:
    """The figures of a day ahead, from the saturation of each path; rounded, since they are kept
    and shown.

    >>> figures(np.arange(1000.0), NOMINAL)
    (100.0, 500.0, 900.0, 100.0, 900.0)
    """
    asked = (0.10, 0.50, 0.90, levels.low, levels.high)
    index = [min(len(percent) - 1, int(level * len(percent) + 1e-9)) for level in asked]
    parted = np.partition(percent, sorted(set(index)))
    return tuple(round(float(parted[i]), 3) for i in index)
