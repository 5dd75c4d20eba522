"""What a report of a problem holds by itself: whoever says otherwise says it in the report.

The door adds it to whatever report passes, so a form, a program and a correction hold alike; an
import adds it to the problems that its file leaves open (services/importing/holding).
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from uuid import uuid4

from sqlmodel import Session

from app.domain.incidents.book import IncidentState
from app.domain.incidents.guides import GUIDES
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.incidents import (
    HOLD,
    INCIDENT,
    Incident,
    IncidentReopened,
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.roomlog.kinds.waste import DRUM, DrumQuarantined, DrumReleased
from app.domain.waste.drums import DrumState
from app.services.then import rows_of
from app.store.instants import to_us
from app.store.things import thing

LONGEST_REASON = 200
Holding = TankHeld | StationHeld | DrumQuarantined


@dataclass(frozen=True)
class Way:
    """How a kind of thing is held.

    Attributes:
        thing: the book that its hold stands in.
        held, released: the kinds that hold it and let it go.
        known: where an incident's state lists what it held of this kind.
    """

    thing: str
    held: type[Holding]
    released: type[Entry]
    known: str


WAYS = {
    "tank": Way(HOLD, TankHeld, TankReleased, "held"),
    "station": Way(STATION, StationHeld, StationReleased, "stations"),
    "drum": Way(DRUM, DrumQuarantined, DrumReleased, "quarantined"),
}
"""By the field of a report that names the thing."""


def named_by(entry: Incident) -> Iterator[str]:
    """The fields of a report whose things are held by it."""
    guide = GUIDES[entry.problem]
    if entry.tank and guide.holds_tank and not entry.keeps_tank:
        yield "tank"
    if entry.station and guide.holds_station:
        yield "station"
    if entry.drum and guide.quarantines_drum and not entry.keeps_drum:
        yield "drum"


def hold_of(
    session: Session, room_id: int, entry: Incident, name: str, now: datetime, uid: str
) -> Holding:  # fmt: skip
    """The hold of what a report names in a field: from the report, or from `now` where a lead has
    let it go since, knowing nothing of it."""
    is_late = is_released_since(session, room_id, name, getattr(entry, name), entry.at)
    shared: dict[str, Any] = {
        "at": now if is_late else entry.at, "by": entry.by, "entered_at": entry.entered_at,
        "id": uid, "reason": _reason(entry), "incident": entry.incident, name: getattr(entry, name),
    }  # fmt: skip
    if name != "drum":
        shared["cause"] = "incident"
    return WAYS[name].held(**shared)


def holds_of(
    session: Session, room_id: int, entry: Incident, beside: Collection[Entry], now: datetime
) -> list[Entry]:
    """What follows from a report that is not there yet, and is not entered `beside` it."""
    found: list[Entry] = []
    known: IncidentState | None = thing(session, room_id, INCIDENT, entry.incident)
    for name in named_by(entry):
        key = getattr(entry, name)
        is_there = known is not None and key in getattr(known, WAYS[name].known)
        if is_there or is_held_beside(entry, name, beside):
            continue
        found.append(hold_of(session, room_id, entry, name, now, uuid4().hex))
    return found


def holds_again(
    session: Session, room_id: int, entry: IncidentReopened, now: datetime
) -> list[Entry]:
    """What a problem that is open again holds once more: a release from before knows nothing of
    what has happened since. A drum that has left the site stays out of it."""
    known: IncidentState | None = thing(session, room_id, INCIDENT, entry.incident)
    if known is None or not known.problem:
        return []
    found: list[Entry] = []
    for name, way in WAYS.items():
        for key in getattr(known, way.known):
            state = thing(session, room_id, way.thing, key)
            if getattr(state, "is_shipped", False) or _holds_for(state, known):
                continue
            is_late = is_released_since(session, room_id, name, key, entry.at)
            shared: dict[str, Any] = {
                "at": now if is_late else entry.at, "by": entry.by, "incident": entry.incident,
                "reason": f"{GUIDES[known.problem].title}, again. {entry.reason}"[:LONGEST_REASON],
                name: key,
            }  # fmt: skip
            if name != "drum":
                shared["cause"] = "incident"
            found.append(way.held(**shared))
    return found


def still_held(session: Session, room_id: int, incident: str) -> list[tuple[str, str]]:
    """What a report holds now, as (field, key): withdrawn, it leaves its holds to a lead.

    Nobody has looked at the thing because a report was wrong, so a withdrawal releases nothing.
    """
    known: IncidentState | None = thing(session, room_id, INCIDENT, incident)
    if known is None:
        return []
    return [
        (name, key)
        for name, way in WAYS.items()
        for key in getattr(known, way.known)
        if _holds(thing(session, room_id, way.thing, key), incident)
    ]


def _holds(state: Any, incident: str) -> bool:
    """A drum has one quarantine, whatever it is for; the others say which report holds them."""
    if isinstance(state, DrumState):
        return state.is_quarantined
    hold = getattr(state, "hold", state)
    return hold is not None and any(one.incident == incident for one in hold.holds)


def _holds_for(state: Any, known: IncidentState) -> bool:
    """The same, and whoever releases a drum reads of this problem: its one quarantine may be for
    something else."""
    if isinstance(state, DrumState) and GUIDES[known.problem].title not in state.quarantine_reason:
        return False
    return _holds(state, known.key)


def is_held_beside(entry: Incident, name: str, beside: Iterable[Entry]) -> bool:
    """One of these entries holds it for the same report."""
    key = getattr(entry, name)
    return any(
        isinstance(one, WAYS[name].held)
        and one.incident == entry.incident
        and getattr(one, name) == key
        for one in beside
    )


def is_released_since(
    session: Session, room_id: int, name: str, key: str, at: datetime
) -> bool:  # fmt: skip
    """A lead has let it go after an instant."""
    rows = rows_of(session, room_id, WAYS[name].thing, key)
    kind = WAYS[name].released.kind
    return any(row.kind == kind and row.at_us >= to_us(at) for row in rows)


def _reason(incident: Incident) -> str:
    title = GUIDES[incident.problem].title
    text = f"{title}. {incident.done}" if incident.done else f"{title}."
    return text[:LONGEST_REASON]
