"""Who may do what in a room: what its lead has entered, held against its people."""

from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.people.qualifications import QualificationState
from app.domain.roomlog.kinds.qualifications import (
    QUALIFICATIONS,
    QualificationEnded,
    Qualified,
)
from app.services.incidents.holds import lead_problems
from app.store.site import crew
from app.store.tables import RoomRow
from app.store.things import thing

Said = Qualified | QualificationEnded


def qualifications(session: Session, room_id: int) -> QualificationState:
    """What was said of people and acts."""
    return thing(session, room_id, QUALIFICATIONS, QUALIFICATIONS) or QualificationState()


def qualification_problems(
    session: Session, room: RoomRow, entry: Said, _: datetime
) -> list[FieldError]:
    """A lead says it, of somebody who is here."""
    assert room.id is not None
    here = [one.name for one in crew(session, room.id).people if not one.has_left]
    found = lead_problems(session, room.id, entry.lead)
    if entry.person not in here:
        names = ", ".join(here)
        message = f"Choose one of the people here: {names}." if here else "Enter the people first."
        found.append(FieldError("person", message))
    return found
