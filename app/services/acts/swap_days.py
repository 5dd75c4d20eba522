"""The day of a swap is decided: one act by the door."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.planning import (
    SwapMoved,
    SwapPinned,
    SwapPostponed,
    SwapReleased,
)
from app.services import door
from app.services.door import Recorded
from app.services.planning.days import DayDecision, decision_problems
from app.services.planning.proposal import Ahead, ahead
from app.store.engine import Store
from app.store.tables import RoomRow


def decide_day(
    store: Store, room: str, decision: DayDecision, now: datetime, submission: str | None = None
) -> Recorded:
    """Store a decision about the day of a swap, held against the room as it stands.

    Raises:
        FieldErrors: it does not fit; nothing is stored.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        found = ahead(session, row, now)
        if errors := decision_problems(found, decision):
            raise FieldErrors(errors)
        return [entry_of_decision(found, decision, now, ZoneInfo(row.time_zone))]

    content = {**asdict(decision), "day": decision.day and decision.day.isoformat()}
    return door.enter(store, room, door.Act(decide, content), now, submission)


def entry_of_decision(found: Ahead, decision: DayDecision, now: datetime, zone: ZoneInfo) -> Entry:
    """The entry that a sound decision becomes, with the chance that its day costs."""
    tank = found.board.tank(decision.tank)
    assert tank is not None
    plan, reason, key, by = found.plan(tank), decision.reason.strip(), tank.key, decision.by
    if decision.action == "release":
        return SwapReleased(at=now, by=by, tank=key, reason=reason or None)
    assert decision.day is not None
    chance = round(100 * found.candidates[key].chances.by_day([decision.day], zone)[0], 1)
    if decision.action == "postpone":
        return SwapPostponed(
            at=now, by=by, tank=key, not_before_on=decision.day, reason=reason,
            chance_percent=chance,
        )  # fmt: skip
    if plan.mode == "pinned" and plan.on_day is not None:
        return SwapMoved(
            at=now, by=by, tank=key, from_on=plan.on_day, planned_on=decision.day, reason=reason,
            chance_percent=chance,
        )  # fmt: skip
    return SwapPinned(at=now, by=by, tank=key, planned_on=decision.day, reason=reason or None)
