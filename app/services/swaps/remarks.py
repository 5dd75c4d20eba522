"""What is said of a swap besides its ticks: a lead against a gate, what was seen at a step."""

from datetime import datetime

from sqlmodel import Session

from app.domain.checklists.roles import ROLES
from app.domain.checklists.run import SwapState
from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import StepNoted, StepOverruled
from app.services import door
from app.services.door import Recorded
from app.services.incidents.holds import hold, is_out_of_service, second_problems
from app.services.swaps.checklists import lead_problems
from app.services.swaps.swapping import under_way
from app.store.engine import Store
from app.store.tables import RoomRow

ONLY_AT = {"drum_room": ("drum",), "lot": ("fill", "rinse"), "plastic": ("bond",)}
"""Roles of the steps at which a gate lets something pass; elsewhere the word changes nothing."""


def overrule(
    store: Store,
    room: str,
    word: StepOverruled,
    now: datetime,
    submission: str | None = None,
) -> Recorded:
    """A lead lets a step pass its gate, or passes it over; the reason stays with the swap.

    Raises:
        FieldErrors: no lead, no reason, or a gate that nobody can overrule.
        NotFound, Conflict: there is no such swap or step, or it has ended.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        errors = overrule_problems(session, row.id, word)
        if errors:
            raise FieldErrors(errors)
        return [word]

    sent = {"overrule": word.swap, "step": word.step, "gate": word.gate, "by": word.by,
            "reason": word.reason, "second": word.second}  # fmt: skip
    return door.enter(store, room, door.Act(decide, sent), now, submission)


def overrule_problems(session: Session, room_id: int, word: StepOverruled) -> list[FieldError]:
    """Why a lead's word is refused; empty where it counts.

    Raises:
        NotFound, Conflict: there is no such swap or step, or it has ended.
    """
    step = under_way(session, room_id, word.swap).step(word.step)
    if step is None:
        raise NotFound("This swap has no such step.")
    errors = lead_problems(session, room_id, word.by)
    if not word.reason.strip():
        errors.append(FieldError("reason", "Say why: the reason stays with the swap."))
    if word.gate == "step" and (stays := ROLES[step.role].stays):
        message = f"“{step.title}” cannot be passed over: {stays}."
        errors.append(FieldError("gate", message))
    if word.gate in ("inspection", "part") and swap_is_out_of_service(
        session, room_id, under_way(session, room_id, word.swap)
    ):
        errors += second_problems(session, room_id, word.second, word.by)
    if step.role not in ONLY_AT.get(word.gate, (step.role,)):
        message = f"This changes nothing at “{step.title}”: no drum and no lot is let pass there."
        errors.append(FieldError("gate", message))
    return errors


def swap_is_out_of_service(session: Session, room_id: int, state: SwapState) -> bool:
    """A part that is out of service holds a tank of the swap."""
    tanks = filter(None, (state.tank, state.from_tank))
    return any(is_out_of_service(session, room_id, hold(session, room_id, tank)) for tank in tanks)


def note(
    store: Store, room: str, seen: StepNoted, now: datetime, submission: str | None = None
) -> Recorded:
    """Keep what was seen at a step.

    Raises:
        NotFound, Conflict: there is no such swap or step, or it has ended.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        if under_way(session, row.id, seen.swap).step(seen.step) is None:
            raise NotFound("This swap has no such step.")
        return [seen]

    sent = {"note": seen.swap, "step": seen.step, "text": seen.text, "by": seen.by}
    return door.enter(store, room, door.Act(decide, sent), now, submission)
