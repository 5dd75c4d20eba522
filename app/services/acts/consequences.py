"""What is entered with an incident: what is counted as waste, what left the bath or the shelf.

What it holds follows at the door, from whichever report (services/incidents/holding).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.errors import FieldError, FieldErrors
from app.domain.incidents.guides import GUIDES
from app.domain.roomlog.kinds import Entry, Removal
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.supplies import StockUsed
from app.domain.roomlog.kinds.waste import PICKUP, PickupCancelled, Pour
from app.domain.waste.pickups import PickupState
from app.services.incidents.checks import missing_problems
from app.services.supplies.stock import use_problems
from app.services.waste import pour_problems
from app.store.things import thing

LONGEST_REASON = 200
Shared = Mapping[str, Any]


@dataclass(frozen=True)
class Report:
    """An incident as it is reported, and where what was lost came from.

    Attributes:
        from_bath: the volume came out of the tank's bath, whose level sinks by it.
        item: the shelf's item that the volume came from.
    """

    incident: Incident
    from_bath: bool = False
    item: str = ""


def entries_of(session: Session, room_id: int, reported: Report, now: datetime) -> list[Entry]:
    """The incident with all that is entered with it.

    Raises:
        FieldErrors: it does not fit the room's waste drums, pickups or shelf.
    """
    incident = reported.incident
    errors: list[FieldError] = missing_problems(session, room_id, incident)
    entries: list[Entry] = [incident]
    shared: dict[str, Any] = {
        "at": incident.at,
        "by": incident.by,
        "entered_at": incident.entered_at,
    }
    for more, found in (
        _poured(session, room_id, incident, shared, now),
        _taken(session, room_id, reported, shared, now),
        _cancelled(session, room_id, incident, shared),
    ):
        entries += more
        errors += found
    if errors:
        raise FieldErrors(errors)
    return entries


Part = tuple[list[Entry], list[FieldError]]


def _poured(
    session: Session, room_id: int, incident: Incident, shared: Shared, now: datetime
) -> Part:
    """What was taken up and went into a waste drum."""
    if incident.waste_drum is None or incident.wasted_l is None:
        return [], []
    note = f"{GUIDES[incident.problem].title}, problem {incident.incident}"
    pour = Pour(
        **shared, drum=incident.waste_drum, volume_l=incident.wasted_l, tank=incident.tank,
        note=note, incident=incident.incident,
    )  # fmt: skip
    names = {"drum": "waste_drum", "volume_l": "wasted_l", "tank": "waste_drum"}
    found = pour_problems(session, room_id, pour, now)
    return [pour], [FieldError(names.get(e.field, e.field), e.message) for e in found]


def _taken(session: Session, room_id: int, reported: Report, shared: Shared, now: datetime) -> Part:
    """What left the bath or the shelf by it."""
    incident = reported.incident
    note = f"{GUIDES[incident.problem].title}, problem {incident.incident}"
    litres = incident.volume_l
    if reported.from_bath and incident.tank:
        if litres is None:
            return [], [FieldError("volume_l", "Enter how much left the bath.")]
        gone = Removal(
            **shared, tank=incident.tank, volume_l=litres, note=note, incident=incident.incident
        )
        return [gone], []
    if not reported.item:
        return [], []
    if litres is None:
        return [], [FieldError("volume_l", "Enter how much of it is gone.")]
    use = StockUsed(
        **shared, item=reported.item, quantity=litres, purpose="spill", lot=incident.lot,
        note=note,
    )  # fmt: skip
    names = {"quantity": "volume_l"}
    found = use_problems(session, room_id, use, now)
    return [use], [FieldError(names.get(e.field, e.field), e.message) for e in found]


def _cancelled(session: Session, room_id: int, incident: Incident, shared: Shared) -> Part:
    """The pickup that does not come."""
    if incident.problem != "pickup_cancelled" or not incident.pickup:
        return [], []
    pickup: PickupState | None = thing(session, room_id, PICKUP, incident.pickup)
    if pickup is None or not pickup.is_booked:
        return [], [FieldError("pickup", "This pickup is no longer booked.")]
    reason = incident.done or incident.note or "Cancelled by the contractor"
    return [
        PickupCancelled(
            **shared, pickup=incident.pickup, drums=list(pickup.drums),
            reason=reason[:LONGEST_REASON],
        )
    ], []  # fmt: skip
