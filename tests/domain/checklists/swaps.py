"""Swaps under way, made entry by entry."""

from datetime import timedelta
from typing import Any

from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.run import SWAP_BOOK, SwapState
from app.domain.checklists.template import as_data
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import StepDone, StepOverruled, SwapOpened
from app.domain.things import fold
from tests.factories import NOW

START = NOW - timedelta(hours=2)


def opened(**more: Any) -> SwapOpened:
    """The default list taken up for a tank of 40 L that holds 38 L."""
    values: dict[str, Any] = {
        "at": START, "by": "Wren", "swap": "s1", "tank": "t1", "checklist": "swap", "version": 1,
        "steps": as_data(DEFAULT.steps), "estimated_l": 38.0, "capacity_l": 40.0, "min_l": 30.0,
        "solvent": "isopropanol",
    }  # fmt: skip
    return SwapOpened(**(values | more))


def done(step: str, minutes: float = 10, by: str = "Wren", **answers: Any) -> StepDone:
    """A step ticked some minutes after the start."""
    at = START + timedelta(minutes=minutes)
    return StepDone(
        at=at, id=f"{step}-{minutes:g}", by=by, swap="s1", step=step, answers=answers or None
    )


def overruled(step: str, gate: str, reason: str = "Agreed with the site") -> StepOverruled:
    """A word of the lead."""
    at = START + timedelta(minutes=5)
    return StepOverruled(at=at, by="Curlew", swap="s1", step=step, gate=gate, reason=reason)


def swap(*entries: Entry) -> SwapState:
    """The swap after these entries."""
    state: SwapState = fold(SWAP_BOOK, "s1", entries)
    return state
