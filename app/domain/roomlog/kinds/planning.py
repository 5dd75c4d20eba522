"""The days on which swaps are to be done: pinned, moved, put off, left to the plan again."""

from dataclasses import dataclass
from datetime import date
from typing import ClassVar

from app.domain.errors import FieldError
from app.domain.roomlog.fields import number, spec
from app.domain.roomlog.kinds.base import LedgerEntry
from app.domain.roomlog.life import Page, Way

PLAN = "plan"


@dataclass(frozen=True, kw_only=True)
class PlanEntry(LedgerEntry):
    """A decision about the day of a tank's next swap; it ends with that swap."""

    tank: str = spec("key", "Tank", required=True, thing=PLAN)


@dataclass(frozen=True, kw_only=True)
class SwapPinned(PlanEntry):
    """The next swap of a tank is set to a day."""

    kind: ClassVar[str] = "swap_pinned"
    summary: ClassVar[str] = "Swap set to a day"
    sentence: ClassVar[str] = "{by} set the swap of {tank} to {planned_on}[: {reason}]"
    reached: ClassVar[Way] = Page("/plan/{tank}")

    planned_on: date = spec("day", "Day of the swap", required=True)
    reason: str | None = spec("text", "Reason")


@dataclass(frozen=True, kw_only=True)
class SwapMoved(PlanEntry):
    """A swap is moved from the day that was set or proposed to another."""

    kind: ClassVar[str] = "swap_moved"
    summary: ClassVar[str] = "Swap moved"
    sentence: ClassVar[str] = (
        "{by} moved the swap of {tank} from {from_on} to {planned_on}: {reason}[, with a "
        "chance of {chance_percent} for parts from a bath past its limit]"
    )
    reached: ClassVar[Way] = Page("/plan/{tank}")

    from_on: date = spec("day", "From", required=True)
    planned_on: date = spec("day", "Day of the swap", required=True)
    reason: str = spec("text", "Reason", required=True)
    chance_percent: float | None = number("Chance of parts from a bath past its limit", "%", 0, 100)

    def problems(self) -> list[FieldError]:
        """A swap is moved to another day."""
        if self.from_on == self.planned_on:
            return [FieldError("planned_on", "The swap is already on this day.")]
        return []


@dataclass(frozen=True, kw_only=True)
class SwapPostponed(PlanEntry):
    """A swap is put off: not before a day. The chance is the one that was shown for that day."""

    kind: ClassVar[str] = "swap_postponed"
    summary: ClassVar[str] = "Swap put off"
    sentence: ClassVar[str] = (
        "{by} put off the swap of {tank}, not before {not_before_on}: {reason}[, with a chance "
        "of {chance_percent} for parts from a bath past its limit]"
    )
    reached: ClassVar[Way] = Page("/plan/{tank}")

    not_before_on: date = spec("day", "Not before", required=True)
    reason: str = spec("text", "Reason", required=True)
    chance_percent: float | None = number("Chance of parts from a bath past its limit", "%", 0, 100)


@dataclass(frozen=True, kw_only=True)
class SwapReleased(PlanEntry):
    """The day of a swap is left to the proposal again."""

    kind: ClassVar[str] = "swap_released"
    summary: ClassVar[str] = "Swap left to the proposal"
    sentence: ClassVar[str] = "{by} left the day of the swap of {tank} to the proposal[: {reason}]"
    reached: ClassVar[Way] = Page("/plan/{tank}")

    reason: str | None = spec("text", "Reason")


KINDS_OF_PLANNING: tuple[type[LedgerEntry], ...] = (
    SwapPinned, SwapMoved, SwapPostponed, SwapReleased,
)  # fmt: skip
