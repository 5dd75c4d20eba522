"""What is said of a swap besides its ticks: a lead against a gate, what was seen at a step."""

from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldErrors, NotFound
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import StepNoted, StepOverruled
from app.services import door
from app.services.door import Recorded
from app.services.swaps.checks import overrule_problems
from app.services.swaps.under_way import under_way
from app.store.engine import Store
from app.store.tables import RoomRow


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
            "reason": word.reason, "second": word.second, "about": word.about}  # fmt: skip
    return door.enter(store, room, door.Act(decide, sent), now, submission)


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
