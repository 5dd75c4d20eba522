"""What follows at the door from what is entered, by whichever way it comes in.

A report of a problem holds what it names, and again where it is opened again. A tank that is held
in the middle of its swap is asked about. A sensor that a step found damaged is looked at. What is
moved out of a drum in quarantine stays in quarantine.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from uuid import uuid4

from sqlmodel import Session

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.incidents import Incident, IncidentReopened
from app.domain.roomlog.kinds.waste import DRUM, DrumQuarantined, DrumTransfer
from app.domain.waste.drums import DrumState
from app.domain.waste.fitting import name_of
from app.services.incidents.holding import LONGEST_REASON, holds_again, holds_of
from app.services.swaps.asking import with_question
from app.services.swaps.inspected import findings
from app.store.things import thing

Placed = tuple[int, Entry]
"""An entry and its place among those given."""


def quarantine_of(session: Session, room_id: int, move: DrumTransfer) -> list[Entry]:
    """The quarantine of a drum goes along with its contents: nobody has said that they are good."""
    source: DrumState | None = thing(session, room_id, DRUM, move.from_drum)
    if source is None or not source.is_quarantined:
        return []
    reason = f"From {name_of(source)}: {source.quarantine_reason}"[:LONGEST_REASON]
    return [DrumQuarantined(at=move.at, by=move.by, drum=move.drum, reason=reason)]


def followed(
    session: Session, room_id: int, fresh: Sequence[Placed], now: datetime
) -> list[Placed]:
    """Entries with what follows from each, which has its place."""
    beside = [entry for _, entry in fresh]
    found: list[Placed] = []
    for place, entry in fresh:
        held: list[Entry] = [entry]
        if isinstance(entry, Incident):
            held += holds_of(session, room_id, entry, beside, now)
        if isinstance(entry, IncidentReopened):
            held += holds_again(session, room_id, entry, now)
        if isinstance(entry, DrumTransfer):
            held += quarantine_of(session, room_id, entry)
        if isinstance(entry, StepDone):
            held += findings(session, room_id, entry, beside)  # outlives the tick
        held = with_question(session, room_id, held)
        found += [(place, one if one.id else replace(one, id=uuid4().hex)) for one in held]
    return found
