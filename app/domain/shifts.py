"""Who handed the room over to whom, and the notes for the next shift, as their entries leave them.

A room has one book of hand-overs, under the key `ROOM`; each note has a book to itself.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, tzinfo
from typing import Any

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.shifts import (
    HAND_OVER,
    SHIFT_NOTE,
    HandedOver,
    ShiftNote,
    ShiftNoteDone,
    TakenOver,
)
from app.domain.things import Thing, step_by_type

ROOM = "room"
"""Key of the one book of hand-overs."""
KEPT = 60  # hand-overs in the state, twenty days of three shifts; the log has them all
LEAST = timedelta(hours=8)  # a usual shift: common practice, no source


@dataclass(frozen=True)
class Signature:
    """Who signed, when, and by which entry."""

    by: str
    at: datetime
    entry: str = ""


@dataclass(frozen=True)
class HandOver:
    """One hand-over: who left, who came. A half that nobody signed is None."""

    handed: Signature | None = None
    taken: Signature | None = None


@dataclass(frozen=True)
class HandOverState:
    """The last hand-overs of a room, oldest first."""

    key: str
    hand_overs: tuple[HandOver, ...] = ()

    @property
    def waiting(self) -> Signature | None:
        """Who handed over where nobody has taken over yet."""
        last = self.hand_overs[-1] if self.hand_overs else None
        return last.handed if last is not None and last.taken is None else None

    @property
    def last(self) -> HandOver | None:
        """The last one that was taken over; None before the first."""
        return next((one for one in reversed(self.hand_overs) if one.taken is not None), None)

    @property
    def begins(self) -> Signature | None:
        """The signature with which this shift begins: what came after it is this shift's."""
        return None if self.last is None else self.last.handed or self.last.taken

    def taken_after(self, entry: str) -> Signature | None:
        """Who took over what was signed by this entry; None while nobody has."""
        return next(
            (one.taken for one in self.hand_overs if one.handed and one.handed.entry == entry), None
        )

    def other_half(self, entry: HandedOver | TakenOver) -> Signature | None:
        """Who signs, or signed, the other half of what this entry signs; late entries too."""
        for one in reversed(self.hand_overs):
            began, ended = one.handed, one.taken
            if isinstance(entry, HandedOver):
                is_of_it = ended is not None and ended.at >= entry.at
                if is_of_it and (began is None or began.at <= entry.at):
                    return ended
            elif began is not None and began.at <= entry.at:
                return began if ended is None or ended.at > entry.at else None
        return None


def is_same_name(one: str, other: str) -> bool:
    """Whether two names are one person's: capitals and spaces around do not count.

    >>> is_same_name("Wren", " wren "), is_same_name("Wren", "Dunlin")
    (True, False)
    """
    return one.strip().casefold() == other.strip().casefold()


def first_begins_at(now: datetime, zone: tzinfo) -> tuple[datetime, bool]:
    """Where the first shift of a room begins, and whether that is the start of the day.

    Nobody has handed over yet: it is the start of the day, and eight hours ago where that is
    earlier, so that a night is not cut at midnight.
    """
    start = now.astimezone(zone).replace(hour=0, minute=0, second=0, microsecond=0)
    is_day = start <= now - LEAST
    return (start if is_day else now - LEAST), is_day


def _handed(state: HandOverState, entry: HandedOver) -> HandOverState:
    signed = HandOver(handed=Signature(entry.by, entry.at, entry.id))
    before = state.hand_overs[:-1] if state.waiting is not None else state.hand_overs
    return replace(state, hand_overs=(*before, signed)[-KEPT:])


def _taken(state: HandOverState, entry: TakenOver) -> HandOverState:
    taken = Signature(entry.by, entry.at, entry.id)
    if state.waiting is None:
        return replace(state, hand_overs=(*state.hand_overs, HandOver(taken=taken))[-KEPT:])
    ended = replace(state.hand_overs[-1], taken=taken)
    return replace(state, hand_overs=(*state.hand_overs[:-1], ended))


_STEPS: Mapping[type[Entry], Callable[[HandOverState, Any], HandOverState]] = {
    HandedOver: _handed,
    TakenOver: _taken,
}


def _after(state: HandOverState, entry: Entry) -> HandOverState:
    after: HandOverState = step_by_type(_STEPS, state, entry)
    return after


@dataclass(frozen=True)
class NoteState:
    """A note for the next shift; one that no entry has written has no `at`."""

    key: str
    text: str = ""
    by: str = ""
    at: datetime | None = None
    entry: str = ""
    done_by: str = ""
    done_at: datetime | None = None

    @property
    def name(self) -> str:
        """What it is called: its own words."""
        return self.text

    @property
    def is_open(self) -> bool:
        """It was written, and nobody has settled it."""
        return self.at is not None and self.done_at is None


def _note_after(state: NoteState, entry: Entry) -> NoteState:
    if isinstance(entry, ShiftNote):
        return replace(state, text=entry.text, by=entry.by, at=entry.at, entry=entry.id)
    if isinstance(entry, ShiftNoteDone):
        return replace(state, done_by=entry.by, done_at=entry.at)
    return state


HAND_OVER_BOOK = Thing(
    HAND_OVER, HandOverState, HandOverState, _after, lambda state: state.waiting is not None
)
NOTE_BOOK = Thing(SHIFT_NOTE, NoteState, NoteState, _note_after, lambda state: state.is_open)
