"""What must be looked at again and again: checks done, their intervals, the month's close."""

from dataclasses import dataclass
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import KEY_PATTERN, number, spec
from app.domain.roomlog.kinds.base import HOLD, LedgerEntry
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.life import Page, Way

DUTY = "duty"
CLOSE = "month_close"
SUBJECTS = ("room", "tank", "drum", "station", "person")
OUTCOMES = ("in_order", "fault")
MOST_L = 100_000.0
HOOD_MEASURED = "hood_measured"
GUARDS_OF = {"interlock": STATION, "cover": HOLD}
"""Duties that test a guard: the book of what a fault holds, the curing station or the tank."""


@dataclass(frozen=True, kw_only=True)
class DutySet(LedgerEntry):
    """The site sets how often a duty is due, adds one of its own, or stops one."""

    kind: ClassVar[str] = "duty"
    summary: ClassVar[str] = "Duty set"
    sentence: ClassVar[str] = (
        "{by} [is_stopped!set][is_stopped?stopped] the duty “{duty}”[: {rest}]"
    )
    reached: ClassVar[Way] = Page("/duties/settings")

    duty: str = spec("key", "Duty", required=True, thing=DUTY)
    name: str | None = spec("text", "Name")
    subject: str | None = spec("choice", "Done for each", choices=SUBJECTS)
    every_days: int | None = spec("whole", "Every", unit="days", low=1, high=3650)
    grace_days: int | None = spec("whole", "Overdue after", unit="more days", low=0, high=365)
    how: str | None = spec("text", "How it is done")
    is_stopped: bool | None = spec("flag", "Not done here")
    reason: str | None = spec("text", "Reason")

    def problems(self) -> list[FieldError]:
        """A duty is not dropped without a word."""
        if self.is_stopped and not self.reason:
            return [
                FieldError("reason", "Say why this is not done here. The reason stays visible.")
            ]
        return []


@dataclass(frozen=True, kw_only=True)
class DutyDone(LedgerEntry):
    """A duty was done, for one of its tanks, drums or people, or for the room."""

    kind: ClassVar[str] = "duty_done"
    summary: ClassVar[str] = "Duty done"
    sentence: ClassVar[str] = (
        "{by} did “{duty}”[ for {of}]: {outcome}[, {expected} known, {shown} shown]"
        "[, {speed_m_s}][, with {instrument}]"
    )
    reached: ClassVar[Way] = Page("/duties")

    duty: str = spec("key", "Duty", required=True, thing=DUTY)
    of: str | None = spec("text", "Of which", names="subject")
    outcome: str = spec(
        "choice", "Outcome", choices=OUTCOMES, words={"fault": "a fault"}, required=True
    )
    expected: float | None = number("Known sample", "", -1_000_000, 1_000_000)
    shown: float | None = number("Instrument shows", "", -1_000_000, 1_000_000)
    speed_m_s: float | None = number("Air speed", "m/s", 0, 20)
    instrument: str | None = spec("key", "Instrument", thing="instrument")

    @property
    def holds(self) -> str:
        """The book of what this holds: a guard was found faulty; empty where nothing is held."""
        is_of_thing = self.of is not None and KEY_PATTERN.fullmatch(self.of) is not None
        is_fault = self.outcome == "fault" and is_of_thing
        return GUARDS_OF.get(self.duty, "") if is_fault else ""

    def things(self) -> list[tuple[str, str]]:
        """The duty; with a faulty guard what it guards as well, which is held from then on."""
        found = super().things()
        return [*found, (self.holds, self.of)] if self.holds and self.of else found

    def problems(self) -> list[FieldError]:
        """A fault needs its word; a known sample and what was shown belong together."""
        found = []
        if self.outcome == "fault" and not self.note.strip():
            found.append(FieldError("note", "Say what was not in order."))
        if (self.expected is None) != (self.shown is None):
            name = "expected" if self.expected is None else "shown"
            found.append(FieldError(name, "Enter both the known value and the value shown."))
        if self.speed_m_s is not None and self.duty != HOOD_MEASURED:
            found.append(FieldError("speed_m_s", "This duty measures no air speed."))
        if self.instrument is not None and self.speed_m_s is None:
            found.append(FieldError("speed_m_s", "Enter what the anemometer shows."))
        return found


@dataclass(frozen=True, kw_only=True)
class MonthClose(LedgerEntry):
    """A bath stands at its fill line: what was added and not taken out since is lost.

    The volumes count since the close before. The first close of a bath has none: it is the start.
    """

    kind: ClassVar[str] = "month_close"
    summary: ClassVar[str] = "Month closed to the fill line"
    sentence: ClassVar[str] = (
        "{by} closed the month of {tank} at its fill line[: {added_l} added][, {removed_l} "
        "removed][, {solids_l} in solids]"
    )
    reached: ClassVar[Way] = Page("/tanks/{tank}/month-close")

    tank: str = spec("key", "Tank", required=True, thing=CLOSE)
    added_l: float | None = number("Solvent added", "L", 0, MOST_L)
    removed_l: float | None = number("Liquid removed", "L", 0, MOST_L)
    solids_l: float | None = number("Solvent in solids removed", "L", 0, MOST_L)
    is_at_line: bool | None = spec("flag", "The bath is at its fill line")

    def problems(self) -> list[FieldError]:
        """Without the line it is no close; nobody takes out more than was put in."""
        found = []
        if not self.is_at_line:
            message = (
                "Fill the bath to its line first. The loss is only known from one full line to "
                "the next."
            )
            found.append(FieldError("is_at_line", message))
        gone_l = (self.removed_l or 0) + (self.solids_l or 0)
        if self.added_l is None and gone_l > 0:
            found.append(FieldError("added_l", "Enter what was added, or 0 if nothing was."))
        elif gone_l > (self.added_l or 0):
            message = (
                f"More was taken out ({gone_l:.2f} L) than added ({self.added_l or 0:.2f} L) "
                "between two fillings to the same line. Either an addition is missing from the "
                "log, a removal is too large, or the bath was not at its line."
            )
            found.append(FieldError("added_l", message))
        return found


KINDS_OF_DUTIES: tuple[type[LedgerEntry], ...] = (DutySet, DutyDone, MonthClose)
