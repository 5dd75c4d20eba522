"""What was decided about the day of a tank's next swap: a fold over the decisions."""

from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Literal

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.planning import (
    PLAN,
    SwapMoved,
    SwapPinned,
    SwapPostponed,
    SwapReleased,
)
from app.domain.things import Thing

Mode = Literal["free", "pinned", "postponed"]


@dataclass(frozen=True)
class PlanState:
    """The decision that stands for a tank.

    Attributes:
        mode: `free` (proposed), `pinned` to `on_day`, or `postponed`: not before `on_day`.
        decided_at, by, reason, entry: when, by whom and why it was decided, and the entry's id.
    """

    tank: str
    mode: Mode = "free"
    on_day: date | None = None
    decided_at: datetime | None = None
    by: str = ""
    reason: str = ""
    entry: str = ""

    def stands_at(self, fill_started_at: datetime) -> bool:
        """Whether the decision is about the bath filled then: a swap since has used it up."""
        return (
            self.mode != "free"
            and self.decided_at is not None
            and self.decided_at >= fill_started_at
        )


def _after(state: PlanState, entry: Entry) -> PlanState:
    decided = replace(
        state, decided_at=entry.at, by=entry.by, entry=entry.id,
        reason=getattr(entry, "reason", None) or "",
    )  # fmt: skip
    if isinstance(entry, SwapPinned | SwapMoved):
        return replace(decided, mode="pinned", on_day=entry.planned_on)
    if isinstance(entry, SwapPostponed):
        return replace(decided, mode="postponed", on_day=entry.not_before_on)
    if isinstance(entry, SwapReleased):
        return replace(decided, mode="free", on_day=None)
    return state


PLAN_BOOK = Thing(PLAN, PlanState, PlanState, _after, lambda state: state.mode != "free")
"""The book of decisions about a tank's swaps; open while a decision stands."""
