"""Why what is said of a reported problem is refused: the same for pages and for programs."""

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.curing.stations import StationState
from app.domain.errors import DomainError, FieldError, NotFound
from app.domain.incidents.book import IncidentState
from app.domain.incidents.guides import GUIDES
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.incidents import (
    INCIDENT,
    Incident,
    IncidentClosed,
    IncidentReopened,
    IncidentStep,
)
from app.domain.roomlog.kinds.waste import DRUM
from app.domain.waste.drums import DrumState
from app.services.incidents.holds import lead_problems
from app.store.tables import RoomRow
from app.store.things import thing

Problems = list[FieldError]


def incident_problems(session: Session, room: RoomRow, entry: Any, _: datetime) -> Problems:
    """Why an entry about an incident does not fit it as it stands; empty where it does."""
    assert room.id is not None
    try:
        return _CHECKS[type(entry)](session, room.id, entry)
    except DomainError as error:
        return [FieldError("incident", str(error))]


def find_incident(session: Session, room_id: int, key: str) -> IncidentState:
    """The incident of that key.

    Raises:
        NotFound: there is none.
    """
    state: IncidentState | None = thing(session, room_id, INCIDENT, key)
    if state is None or not state.problem:
        raise NotFound(f"There is no problem “{key[:64]}” in this room.")
    return state


def _reported(session: Session, room_id: int, entry: Incident) -> Problems:
    """A second report under the key of another would change what was reported."""
    state: IncidentState | None = thing(session, room_id, INCIDENT, entry.incident)
    found = []
    if state is not None and state.problem:
        message = "A problem already has this key. Correct that one instead."
        found.append(FieldError("incident", message))
    return found + missing_problems(session, room_id, entry)


def missing_problems(session: Session, room_id: int, entry: Incident) -> Problems:
    """What a report names and is not there: nothing would be held by it."""
    found = []
    if entry.station:
        station: StationState | None = thing(session, room_id, STATION, entry.station)
        if station is None or not station.is_known:
            found.append(FieldError("station", "Choose the station from the list."))
    if entry.drum:
        drum: DrumState | None = thing(session, room_id, DRUM, entry.drum)
        if drum is None or not drum.name:
            found.append(FieldError("drum", f"There is no drum “{entry.drum}”."))
    return found


def _settled(session: Session, room_id: int, entry: IncidentStep) -> Problems:
    state = find_incident(session, room_id, entry.incident)
    if state.is_closed:
        return [FieldError("incident", "This problem is closed. Open it again first.")]
    if entry.step not in {each.key for each in GUIDES[state.problem].follow_ups}:
        return [FieldError("step", "There is no such follow-up here.")]
    found = []
    if entry.not_needed and not entry.note.strip():
        found.append(FieldError("note", "Say why this is not needed."))
    if not entry.by.strip():
        found.append(FieldError("by", "Say who did this."))
    return found


def _closed(session: Session, room_id: int, entry: IncidentClosed) -> Problems:
    state = find_incident(session, room_id, entry.incident)
    if state.is_closed:
        return [FieldError("incident", "This problem is already closed.")]
    errors = lead_problems(session, room_id, entry.lead)
    required = GUIDES[state.problem].follow_ups
    left = [each for each in required if each.is_required and state.step(each.key) is None]
    if left:
        count = "one follow-up is" if len(left) == 1 else f"{len(left)} follow-ups are"
        message = f"Not yet: {count} open. Tick what is done, or say why it is not needed."
        errors.append(FieldError("reason", message))
    return errors


def _reopened(session: Session, room_id: int, entry: IncidentReopened) -> Problems:
    if find_incident(session, room_id, entry.incident).is_closed:
        return []
    return [FieldError("incident", "This problem is already open.")]


_CHECKS: Mapping[type[Any], Callable[[Session, int, Any], Problems]] = {
    Incident: _reported,
    IncidentStep: _settled,
    IncidentClosed: _closed,
    IncidentReopened: _reopened,
}
CHECKED: tuple[type[Any], ...] = tuple(_CHECKS)
