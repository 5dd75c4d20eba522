"""A duty as its entries leave it: what the site has set, and who did it last."""

from dataclasses import dataclass, replace
from datetime import datetime

from app.domain.duties.month import emission
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.duties import CLOSE, DUTY, DutyDone, DutySet, MonthClose
from app.domain.things import Thing

CLOSES_KEPT = 120  # ten years of months
SPEEDS_KEPT = 12


@dataclass(frozen=True)
class Done:
    """The last time a duty was done for one of its subjects; `of` is empty for the room."""

    of: str
    at: datetime
    by: str = ""
    is_fault: bool = False
    note: str = ""
    entry: str = ""
    expected: float | None = None
    shown: float | None = None
    speed_m_s: float | None = None


@dataclass(frozen=True)
class DutyState:
    """A duty: the site's own settings, None or empty where it has set none.

    Attributes:
        set_at: when the site set it first; None for one that only the built-in list knows.
        done: the last time for each subject.
        speeds: the latest air speeds in m/s with when they were measured, oldest first.
    """

    key: str
    name: str = ""
    subject: str = ""
    every_days: int | None = None
    grace_days: int | None = None
    how: str = ""
    is_stopped: bool = False
    reason: str = ""
    set_at: datetime | None = None
    done: tuple[Done, ...] = ()
    speeds: tuple[tuple[datetime, float], ...] = ()

    def last(self, of: str) -> Done | None:
        """When it was done last for a subject."""
        return next((done for done in self.done if done.of == of), None)


def _after(state: DutyState, entry: Entry) -> DutyState:
    if isinstance(entry, DutySet):
        names = ("name", "subject", "every_days", "grace_days", "how")
        given = {name: value for name in names if (value := getattr(entry, name)) is not None}
        return replace(
            state, **given, is_stopped=bool(entry.is_stopped), reason=entry.reason or "",
            set_at=state.set_at or entry.at,
        )  # fmt: skip
    if isinstance(entry, DutyDone):
        of = entry.of or ""
        done = Done(
            of=of, at=entry.at, by=entry.by, is_fault=entry.outcome == "fault", note=entry.note,
            entry=entry.id, expected=entry.expected, shown=entry.shown,
            speed_m_s=entry.speed_m_s,
        )  # fmt: skip
        speeds = state.speeds
        if entry.speed_m_s is not None:
            speeds = (*speeds, (entry.at, entry.speed_m_s))[-SPEEDS_KEPT:]
        others = (old for old in state.done if old.of != of)
        return replace(state, done=(*others, done), speeds=speeds)
    return state


@dataclass(frozen=True)
class Close:
    """A month closed to the fill line; the volumes count since the close before."""

    at: datetime
    by: str
    added_l: float | None
    removed_l: float
    solids_l: float

    @property
    def loss_l(self) -> float | None:
        """Evaporated and carried out; None for the first close of a bath."""
        if self.added_l is None:
            return None
        return emission(self.added_l, self.removed_l, self.solids_l)


@dataclass(frozen=True)
class CloseState:
    """The closes of a tank, oldest first."""

    tank: str
    closes: tuple[Close, ...] = ()

    @property
    def last(self) -> Close | None:
        """The latest close."""
        return self.closes[-1] if self.closes else None


def _closed(state: CloseState, entry: Entry) -> CloseState:
    if not isinstance(entry, MonthClose):
        return state
    close = Close(entry.at, entry.by, entry.added_l, entry.removed_l or 0.0, entry.solids_l or 0.0)
    return replace(state, closes=(*state.closes, close)[-CLOSES_KEPT:])


DUTY_BOOK = Thing(DUTY, DutyState, DutyState, _after, lambda state: not state.is_stopped, version=2)
CLOSE_BOOK = Thing(CLOSE, CloseState, CloseState, _closed)
