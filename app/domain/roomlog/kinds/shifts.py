"""A shift ends and the next one begins: notes for whoever comes, and the two who sign for it."""

from dataclasses import dataclass
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import spec
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.life import Page, Way

HAND_OVER = "hand_over"
SHIFT_NOTE = "shift_note"


@dataclass(frozen=True, kw_only=True)
class ShiftNote(LedgerEntry):
    """A note for the next shift; it stays on the hand-over page until somebody settles it."""

    kind: ClassVar[str] = "shift_note"
    summary: ClassVar[str] = "Note for the next shift"
    sentence: ClassVar[str] = "{by} left a note for the next shift: {text}"
    reached: ClassVar[Way] = Page("/hand-over/note")

    shift_note: str = spec("key", "Note", required=True, thing=SHIFT_NOTE)
    text: str = spec("text", "Note for the next shift", required=True)

    def problems(self) -> list[FieldError]:
        """A note says something."""
        return [] if self.text.strip() else [FieldError("text", "Write the note first.")]


@dataclass(frozen=True, kw_only=True)
class ShiftNoteDone(LedgerEntry):
    """What a note for the next shift asks for is done, or needs nobody any more."""

    kind: ClassVar[str] = "shift_note_done"
    summary: ClassVar[str] = "Note for the shift settled"
    sentence: ClassVar[str] = "{by} settled the note “{shift_note}”"
    reached: ClassVar[Way] = Page("/hand-over")

    shift_note: str = spec("key", "Note", required=True, thing=SHIFT_NOTE)


@dataclass(frozen=True, kw_only=True)
class HandedOver(LedgerEntry):
    """Somebody signed that the room is handed over as the page shows it."""

    kind: ClassVar[str] = "handed_over"
    summary: ClassVar[str] = "Handed over"
    sentence: ClassVar[str] = "{by} handed over the room"
    reached: ClassVar[Way] = Page("/hand-over")

    hand_over: str = spec("key", "Hand-over", required=True, thing=HAND_OVER)


@dataclass(frozen=True, kw_only=True)
class TakenOver(LedgerEntry):
    """Somebody else read the hand-over and took the room over.

    Attributes:
        signed: the entry of the hand-over that is taken over; left out where nobody handed over.
    """

    kind: ClassVar[str] = "taken_over"
    summary: ClassVar[str] = "Taken over"
    sentence: ClassVar[str] = "{by} took over the room[signed!, nobody had handed it over]"
    reached: ClassVar[Way] = Page("/hand-over")

    hand_over: str = spec("key", "Hand-over", required=True, thing=HAND_OVER)
    signed: str | None = spec("key", "Entry of the hand-over")


KINDS_OF_SHIFTS: tuple[type[LedgerEntry], ...] = (ShiftNote, ShiftNoteDone, HandedOver, TakenOver)
