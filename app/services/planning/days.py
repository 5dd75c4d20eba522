"""Deciding the day of a swap: set, moved, put off, left to the proposal again."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from sqlmodel import Session

from app.domain.calendar_words import day_words
from app.domain.errors import FieldError
from app.domain.planning.decisions import PlanState
from app.domain.planning.scheduling import MOST_WEEKS
from app.domain.roomlog.fields import check_text
from app.domain.roomlog.kinds.planning import (
    PlanEntry,
    SwapMoved,
    SwapPinned,
    SwapPostponed,
    SwapReleased,
)
from app.services.planning.proposal import Ahead, ahead
from app.store.tables import RoomRow

Action = Literal["pin", "postpone", "release"]
ACTIONS: tuple[Action, ...] = ("pin", "postpone", "release")
MOST_REASON = 200


@dataclass(frozen=True)
class DayDecision:
    """What a lead decides about a tank's next swap. `day` is None for a release."""

    tank: str
    action: str
    day: date | None = None
    reason: str = ""
    by: str = ""


def decision_problems(found: Ahead, decision: DayDecision) -> list[FieldError]:
    """Why a decision is refused; empty where it may be stored."""
    tank = found.board.tank(decision.tank)
    if tank is None:
        return [FieldError("tank", "There is no such tank in use in this room.")]
    if tank.swap_started_at is not None:
        return [FieldError("action", "This swap is under way. Complete it or give it up.")]
    if decision.action not in ACTIONS:
        return [FieldError("action", "Choose what to do.")]
    errors = []
    leads = found.books.crew.leads
    if leads and decision.by not in leads:
        errors.append(FieldError("by", f"A lead decides days: {', '.join(leads)}."))
    try:
        check_text("reason", decision.reason, MOST_REASON)
    except FieldError as error:
        errors.append(error)
    plan = found.plan(tank)
    if decision.action == "release":
        if plan.mode == "free":
            errors.append(FieldError("action", "Nothing has been decided. The day is a proposal."))
        return errors
    return errors + _day_problems(found, plan, decision)


def _day_problems(found: Ahead, plan: PlanState, decision: DayDecision) -> list[FieldError]:
    day = decision.day
    if day is None:
        return [FieldError("day", "Enter the day.")]
    last = found.today + timedelta(weeks=MOST_WEEKS)
    if day < found.today:
        return [FieldError("day", "This day has passed.")]
    if day > last:
        return [
            FieldError("day", f"Plan no further ahead than {MOST_WEEKS} weeks: {day_words(last)}.")
        ]
    errors = []
    if decision.action == "postpone" and day == found.today:
        errors.append(FieldError("day", "Choose a day after today."))
    mode = "pinned" if decision.action == "pin" else "postponed"
    if plan.mode == mode and plan.on_day == day:
        errors.append(FieldError("day", "The swap is already on this day."))
    if not decision.reason.strip() and reason_is_needed(found, plan, decision):
        errors.append(FieldError("reason", "Say why. The next shift will ask."))
    return errors


def reason_is_needed(found: Ahead, plan: PlanState, decision: DayDecision) -> bool:
    """A swap that is put off, moved, or set to a day that is not before its early day."""
    early_on = found.candidates[decision.tank].early_on
    is_late = early_on is not None and decision.day is not None and decision.day > early_on
    return decision.action == "postpone" or plan.mode == "pinned" or is_late


FIELD_NAMES: Mapping[type[PlanEntry], Mapping[str, str]] = {
    SwapPinned: {"day": "planned_on", "action": "tank"},
    SwapMoved: {"day": "planned_on", "action": "tank"},
    SwapPostponed: {"day": "not_before_on", "action": "tank"},
    SwapReleased: {"action": "tank"},
}


def plan_problems(
    session: Session, room: RoomRow, entry: PlanEntry, now: datetime
) -> list[FieldError]:
    """Why a decision that a program sends is refused, by the rules of the page."""
    names = FIELD_NAMES[type(entry)]
    action = "pin"
    if isinstance(entry, SwapPostponed | SwapReleased):
        action = "postpone" if isinstance(entry, SwapPostponed) else "release"
    day = getattr(entry, names.get("day", ""), None)
    reason = getattr(entry, "reason", None) or ""
    decision = DayDecision(entry.tank, action, day, reason, entry.by)
    found = ahead(session, room, now)
    return [
        FieldError(names.get(error.field, error.field), error.message)
        for error in decision_problems(found, decision)
    ]
