"""Handing the room over: what has been signed, the notes that wait, and what is refused."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.calendar_words import moment_words
from app.domain.errors import FieldError
from app.domain.roomlog.kinds.shifts import (
    HAND_OVER,
    SHIFT_NOTE,
    HandedOver,
    ShiftNote,
    ShiftNoteDone,
    TakenOver,
)
from app.domain.shifts import ROOM, HandOverState, NoteState, first_begins_at, is_same_name
from app.services.authorship import entry_row
from app.store.tables import RoomRow
from app.store.things import thing, things

ShiftEntry = ShiftNote | ShiftNoteDone | HandedOver | TakenOver


@dataclass(frozen=True)
class Begin:
    """Where this shift begins.

    Attributes:
        row_id: number of the row of the signature with which it begins; None before the first.
        is_day: without one: the start of the day, else the last eight hours.
    """

    at: datetime
    row_id: int | None = None
    is_day: bool = False


def hand_overs(session: Session, room_id: int, key: str = ROOM) -> HandOverState:
    """Who handed over to whom."""
    return thing(session, room_id, HAND_OVER, key) or HandOverState(key)


def open_notes(session: Session, room_id: int) -> list[NoteState]:
    """The notes that nobody has settled, the oldest first."""
    found = things(session, room_id, SHIFT_NOTE, only_open=True).values()
    return sorted(found, key=lambda note: note.at)


def begin_of_shift(session: Session, room: RoomRow, state: HandOverState, now: datetime) -> Begin:
    """Where this shift begins: at the last hand-over that was taken over."""
    signed = state.begins
    if signed is None:
        return Begin(*_first(room, now))
    row = entry_row(session, room.id or 0, signed.entry)
    return Begin(signed.at, row.id if row is not None else None)


def _first(room: RoomRow, now: datetime) -> tuple[datetime, None, bool]:
    at, is_day = first_begins_at(now, ZoneInfo(room.time_zone))
    return at, None, is_day


def shift_problems(
    session: Session, room: RoomRow, entry: ShiftEntry, now: datetime
) -> list[FieldError]:
    """Why an entry about a hand-over or a note is refused; empty where it may be stored."""
    assert room.id is not None
    if isinstance(entry, ShiftNote | ShiftNoteDone):
        return _note_problems(session, room, entry, now)
    state = hand_overs(session, room.id, entry.hand_over)
    if isinstance(entry, HandedOver):
        return _handing_problems(room, state, entry, now)
    return _taking_problems(room, state, entry, now)


def _note_problems(
    session: Session, room: RoomRow, entry: ShiftNote | ShiftNoteDone, now: datetime
) -> list[FieldError]:
    note: NoteState | None = thing(session, room.id or 0, SHIFT_NOTE, entry.shift_note)
    if isinstance(entry, ShiftNote):
        if not entry.by.strip():
            return [FieldError("by", "Enter who leaves the note.")]
        is_taken = note is not None and note.at is not None
        message = "There is already a note with this key."
        return [FieldError("shift_note", message)] if is_taken else []
    if note is None or note.at is None:
        return [FieldError("shift_note", "There is no such note in this room.")]
    if note.done_at is not None:
        when = _when(note.done_at, room, now)
        message = f"{note.done_by or 'Somebody'} settled this note at {when}. Nothing was stored."
        return [FieldError("shift_note", message)]
    return []


def _handing_problems(
    room: RoomRow, state: HandOverState, entry: HandedOver, now: datetime
) -> list[FieldError]:
    if not entry.by.strip():
        return [FieldError("by", "Enter who hands over.")]
    other, waiting = state.other_half(entry), state.waiting
    if other is not None and is_same_name(other.by, entry.by):
        message = f"{other.by} took over. Someone else hands over."
        return [FieldError("by", message)]
    if waiting is None or is_same_name(waiting.by, entry.by) or waiting.at > entry.at:
        return []
    message = (
        f"{waiting.by} handed over at {_when(waiting.at, room, now)}. Take over first. Nothing "
        "was stored."
    )
    return [FieldError("by", message)]


def _taking_problems(
    room: RoomRow, state: HandOverState, entry: TakenOver, now: datetime
) -> list[FieldError]:
    if not entry.by.strip():
        return [FieldError("by", "Enter who takes over.")]
    other, waiting = state.other_half(entry), state.waiting
    if other is not None and is_same_name(other.by, entry.by):
        message = f"{other.by} handed over. Someone else takes over."
        return [FieldError("by", message)]
    if entry.signed is None:
        if waiting is None or waiting.at > entry.at:
            return []
        message = (
            f"{waiting.by} handed over at {_when(waiting.at, room, now)}. Read what is new, then "
            "take over. Nothing was stored."
        )
        return [FieldError("signed", message)]
    if waiting is not None and waiting.entry == entry.signed:
        return []
    return [FieldError("signed", _gone(room, state, entry.signed, now))]


def _gone(room: RoomRow, state: HandOverState, signed: str, now: datetime) -> str:
    """Why a hand-over that is named waits for nobody."""
    for one in state.hand_overs:
        if one.handed is not None and one.handed.entry == signed and one.taken is not None:
            when = _when(one.taken.at, room, now)
            return f"{one.taken.by} took over at {when}. Nothing was stored."
    return "This hand-over was signed again or taken back. Reload the page. Nothing was stored."


def _when(at: datetime, room: RoomRow, now: datetime) -> str:
    """The time of day, with its day where that is not today."""
    zone = ZoneInfo(room.time_zone)
    local = at.astimezone(zone)
    is_today = local.date() == now.astimezone(zone).date()
    return f"{local:%H:%M}" if is_today else moment_words(at, zone)
