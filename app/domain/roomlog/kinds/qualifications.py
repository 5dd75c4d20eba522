"""Who may do which act, and until when. Why somebody may not is entered nowhere."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import spec
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.life import Page, Way

QUALIFICATIONS = "qualifications"
ACTS_QUALIFIED = ("swap", "drain", "drum", "cure", "inspection", "second")
ACT_WORDS = {
    "swap": "swap baths", "drain": "drain and rinse", "drum": "close and ship drums",
    "cure": "cure parts", "inspection": "inspect and sign", "second": "sign as second person",
}  # fmt: skip
NO_NOTE = "Leave the note empty. The reason stays with the person."
LONGEST_DAYS = 1100
"""Three years; longer than any refresher that is asked for: common practice, no source."""


@dataclass(frozen=True, kw_only=True)
class Qualified(LedgerEntry):
    """A lead says that somebody may do an act until a day, and what that rests on.

    From the first such entry on, the act is asked about for whoever has none.
    """

    kind: ClassVar[str] = "qualified"
    summary: ClassVar[str] = "Person qualified"
    sentence: ClassVar[str] = (
        "{lead} qualified {person} to {act}, until {until_on}[, trained {trained_on}]"
        "[, {supervised_times} under supervision]"
    )
    reached: ClassVar[Way] = Page("/qualified")

    qualifications: str = spec("key", "Qualifications", required=True, thing=QUALIFICATIONS)
    person: str = spec("text", "Person", required=True)
    act: str = spec("choice", "Act", choices=ACTS_QUALIFIED, words=ACT_WORDS, required=True)
    until_on: date = spec("day", "Until", required=True, help="The last day it counts.")
    lead: str = spec("text", "Qualified by", required=True)
    trained_on: date | None = spec("day", "Trained on")
    supervised_times: int | None = spec(
        "whole", "Done under supervision", unit="times", low=1, high=1000
    )

    def problems(self) -> list[FieldError]:
        """It rests on something, and ends on a day to come that is not too far off."""
        found = []
        said_on = self.at.date()
        if self.trained_on is None and self.supervised_times is None:
            message = "Enter the day of the training, or how often it was done under supervision."
            found.append(FieldError("trained_on", message))
        elif self.trained_on is not None and (self.trained_on - said_on).days > 1:
            found.append(
                FieldError(
                    "trained_on", "This day is in the future. Enter the training once it is done."
                )
            )
        if (said_on - self.until_on).days > 1:
            found.append(FieldError("until_on", "This day has passed. Enter a future day."))
        elif (self.until_on - said_on).days > LONGEST_DAYS:
            found.append(FieldError("until_on", "Enter a day within the next three years."))
        return found


@dataclass(frozen=True, kw_only=True)
class QualificationEnded(LedgerEntry):
    """A person is not for an act from now on. No reason is kept: it stays with the person."""

    kind: ClassVar[str] = "qualification_ended"
    summary: ClassVar[str] = "Taken off a task"
    sentence: ClassVar[str] = "{lead} took {person} off the list of who may {act}"
    reached: ClassVar[Way] = Page("/qualified")

    qualifications: str = spec("key", "Qualifications", required=True, thing=QUALIFICATIONS)
    person: str = spec("text", "Person", required=True)
    act: str = spec("choice", "Act", choices=ACTS_QUALIFIED, words=ACT_WORDS, required=True)
    lead: str = spec("text", "Decided by", required=True)

    def problems(self) -> list[FieldError]:
        """Health is nobody's business in a log that everybody reads."""
        found = [FieldError("note", NO_NOTE)] if self.note.strip() else []
        more = f"Leave this out. {NO_NOTE.partition('. ')[2]}"
        return found + [FieldError(name, more) for name in self.extra]


KINDS_OF_QUALIFICATIONS: tuple[type[LedgerEntry], ...] = (Qualified, QualificationEnded)
UNTOLD = (Qualified, QualificationEnded)
"""Taken back or corrected they take no note: it would say why somebody may not."""
