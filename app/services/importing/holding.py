"""What a file's reports hold: those of problems that it leaves open, and that nothing else settles.

A file of ours has the holds as entries of their own. One from elsewhere that reports a leak and
says no more has nothing that would keep people away from it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from hashlib import blake2b

from sqlmodel import Session

from app.domain.incidents.book import IncidentState
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import INCIDENT, Incident, IncidentClosed, IncidentReopened
from app.domain.roomlog.kinds.waste import DRUM, DrumTransfer
from app.domain.waste.drums import DrumState
from app.services.following import quarantine_of
from app.services.incidents.holding import (
    WAYS,
    hold_of,
    is_held_beside,
    named_by,
)
from app.services.then import thing_at
from app.store.things import thing


def holds_for(
    session: Session, room_id: int, entries: Mapping[int, Entry], now: datetime
) -> dict[int, list[Entry]]:
    """By the line of its report, what a file's open problems hold and no line of it does; by the
    line of its move, the drum that took what is in quarantine here."""
    found: dict[int, list[Entry]] = {}
    for line, entry in entries.items():
        if isinstance(entry, DrumTransfer) and (moved := _moved_on(session, room_id, entry, now)):
            found[line] = moved
    reports = {line: one for line, one in entries.items() if isinstance(one, Incident)}
    for line, entry in reports.items():
        known: IncidentState | None = thing(session, room_id, INCIDENT, entry.incident)
        if _is_closed(entry, entries.values(), known):
            continue
        for name in named_by(entry):
            key = getattr(entry, name)
            is_known = known is not None and key in getattr(known, WAYS[name].known)
            is_settled = _is_released(entry, name, entries.values())
            if is_known or is_settled or is_held_beside(entry, name, entries.values()):
                continue
            held = hold_of(session, room_id, entry, name, now, _id(entry, name))
            found.setdefault(line, []).append(held)
    return found


def _moved_on(session: Session, room_id: int, move: DrumTransfer, now: datetime) -> list[Entry]:
    source: DrumState | None = thing_at(session, room_id, DRUM, move.from_drum, move.at)
    if source is None or not source.is_quarantined:
        return []
    moved = quarantine_of(session, room_id, move, now)
    return [replace(one, id=_id(move, "drum")) for one in moved]


def _is_closed(entry: Incident, beside: Iterable[Entry], known: IncidentState | None) -> bool:
    """The last word of the file on the problem, else of the room, is that it is closed."""
    said = [
        one
        for one in beside
        if isinstance(one, IncidentClosed | IncidentReopened) and one.incident == entry.incident
    ]
    if said:
        return isinstance(max(said, key=lambda one: one.at), IncidentClosed)
    return known is not None and known.is_closed


def _is_released(entry: Incident, name: str, beside: Iterable[Entry]) -> bool:
    key = getattr(entry, name)
    return any(
        isinstance(one, WAYS[name].released) and getattr(one, name) == key and one.at >= entry.at
        for one in beside
    )


def _id(entry: Entry, name: str) -> str:
    """The same for the same line, so that a run that goes on holds nothing twice."""
    return f"held-{blake2b(f'{entry.id} {name}'.encode(), digest_size=12).hexdigest()}"
