"""A new edition of the checklist of swaps is kept."""

from datetime import datetime

from sqlmodel import Session

from app.domain.errors import Conflict, FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import Checklist
from app.services import door
from app.services.door import Recorded
from app.services.swaps.checklists import edition_problems, lead_problems
from app.store.engine import Store
from app.store.tables import RoomRow


def keep_checklist(
    store: Store, room: str, edition: Checklist, now: datetime, submission: str | None = None
) -> Recorded:
    """Keep a new version of the checklist; swaps under way keep theirs.

    Raises:
        FieldErrors: not by a lead, or dangerous to follow.
        Conflict: somebody else changed it meanwhile.
    """

    def decide(session: Session, row: RoomRow) -> list[Entry]:
        assert row.id is not None
        if errors := lead_problems(session, row.id, edition.by):
            raise FieldErrors(errors)
        errors = edition_problems(session, row.id, edition)
        if stale := [error for error in errors if error.field == "version"]:
            raise Conflict(stale[0].message)
        if errors:
            raise FieldErrors(errors)
        return [edition]

    sent = {"checklist": edition.version, "steps": edition.steps, "by": edition.by}
    return door.enter(store, room, door.Act(decide, sent), now, submission)
