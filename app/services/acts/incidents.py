"""When something goes wrong: reported, followed up, closed by a lead.

Each is one transaction, decided on the room as it stands inside it.
"""

import uuid
from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import Conflict
from app.domain.harm.matrix import QUESTIONS
from app.domain.incidents.book import IncidentState
from app.domain.plausible import NAMES
from app.domain.roomlog.fields import KEY_PATTERN
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import (
    INCIDENT,
    IncidentClosed,
    IncidentReopened,
    IncidentStep,
)
from app.domain.roomlog.lines import own_fields
from app.services import door
from app.services.acts.consequences import Report, entries_of
from app.services.door import Recorded
from app.services.incidents.checks import find_incident
from app.services.incidents.holds import sent
from app.store.engine import Store
from app.store.tables import RoomRow
from app.store.things import things

KEY_LENGTH = 12


def incident_key(submission: str | None) -> str:
    """A key for a new incident; the same for a report that is sent a second time."""
    text = (submission or "").replace("-", "")[:KEY_LENGTH]
    return text if KEY_PATTERN.fullmatch(text) else uuid.uuid4().hex[:KEY_LENGTH]


def incidents(session: Session, room_id: int, *, only_open: bool = False) -> list[IncidentState]:
    """The room's incidents, the latest first."""
    found = things(session, room_id, INCIDENT, only_open=only_open).values()
    reported = [state for state in found if state.problem]
    return sorted(reported, key=lambda state: (state.at, state.key), reverse=True)


def report(
    store: Store, room: str, reported: Report, now: datetime, submission: str | None
) -> Recorded:
    """Store an incident with all that follows from it at once; in a hurry nothing is asked.

    Raises:
        FieldErrors: it does not fit the room, its drums or its shelf; nothing is stored.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        return entries_of(session, row.id, reported, now)

    incident = reported.incident
    content = {
        "incident": own_fields(incident),
        "by": incident.by,
        "note": incident.note,
        "at": None if incident.at == now else incident.at.isoformat(),
        "more": [reported.from_bath, reported.item],
    }
    act = door.Act(decide, content)
    return door.enter(store, room, act, now, submission, confirmed=(*QUESTIONS, *NAMES))


def settle(store: Store, room: str, step: IncidentStep, now: datetime, key: str | None) -> Recorded:
    """Tick a follow-up of an incident.

    Raises:
        FieldErrors: its guide has no such follow-up, or one not needed has no reason.
        Conflict: the incident is closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        if find_incident(session, row.id or 0, step.incident).is_closed:
            raise Conflict("This problem is closed. Open it again first.")
        return [step]

    return door.enter(store, room, door.Act(decide, sent(step)), now, key)


def close(
    store: Store, room: str, entry: IncidentClosed, now: datetime, key: str | None
) -> Recorded:
    """Close an incident: a lead, with what was found, and no required follow-up open.

    Raises:
        FieldErrors: no lead of the room, or follow-ups are open.
        Conflict: it is already closed.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        if find_incident(session, row.id or 0, entry.incident).is_closed:
            raise Conflict("This problem is already closed. Reload the page.")
        return [entry]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key)


def reopen(
    store: Store, room: str, entry: IncidentReopened, now: datetime, key: str | None
) -> Recorded:
    """Open a closed incident again.

    Raises:
        Conflict: it is open.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        if not find_incident(session, row.id or 0, entry.incident).is_closed:
            raise Conflict("This problem is already open. Reload the page.")
        return [entry]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key)
