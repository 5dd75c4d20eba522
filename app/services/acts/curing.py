"""Storing what is said of curing stations."""

from collections.abc import Collection, Sequence
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import Cure
from app.services import door
from app.services.curing.checks import entry_problems
from app.services.curing.stations import with_figures
from app.services.door import Recorded, said
from app.store.engine import Store
from app.store.tables import RoomRow


def record_station(
    store: Store, room: str, entry: Entry, now: datetime, submission: str | None = None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Store an entry about a station or recipe where it fits the room as it stands.

    A cure is stored with the dose delivered and the time its parts dried.

    Raises:
        FieldErrors: it does not fit, a message for each field.
        Conflict: the submission key was used for other content.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        if problems := entry_problems(session, row.id, entry):
            raise FieldErrors(problems)
        return [with_figures(session, row.id, entry) if isinstance(entry, Cure) else entry]

    sent = {"curing": said(entry, now)}
    return door.enter(store, room, door.Act(decide, sent), now, submission, confirmed=confirmed)
