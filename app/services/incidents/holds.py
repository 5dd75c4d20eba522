"""Tanks and curing stations that are out of use until a lead releases them."""

from collections.abc import Sequence

from sqlmodel import Session

from app.domain.curing.stations import StationState
from app.domain.errors import FieldError
from app.domain.holds import HoldState
from app.domain.inspections.inspection import InspectionState
from app.domain.inspections.part import OUT
from app.domain.roomlog.kinds import Entry, Wash
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.incidents import (
    HOLD,
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.roomlog.kinds.inspections import INSPECTION
from app.domain.roomlog.kinds.supplies import LotHeld
from app.domain.roomlog.kinds.waste import DrumQuarantined
from app.domain.roomlog.lines import own_fields
from app.store.site import crew
from app.store.things import thing

SAY_CONTENTS = "Say what is in this tank to release it. No lead is needed."


def hold(session: Session, room_id: int, tank: str) -> HoldState:
    """Whether a tank is held, and why."""
    return thing(session, room_id, HOLD, tank) or HoldState(tank)


def station_hold(session: Session, room_id: int, station: str) -> HoldState:
    """Whether a curing station is held, and why."""
    state: StationState | None = thing(session, room_id, STATION, station)
    return state.hold if state is not None else HoldState()


def held_reason(session: Session, room_id: int, tank: str) -> str:
    """Why nothing is washed in a tank now and what to do; empty where it is not held."""
    state = hold(session, room_id, tank)
    if not state.is_held:
        return ""
    return f"This tank is held: {state.reason.rstrip('.')}. Use another tank. " + _way_out(state)


def _way_out(state: HoldState) -> str:
    if not state.is_for_a_lead:
        return "Say what is in it on its page to release it."
    return "A lead releases it on its page once the cause is settled."


def held_problems(session: Session, room_id: int, entries: Sequence[Entry]) -> list[FieldError]:
    """Why a wash among these is refused: its tank is held, and it was not washed before that."""
    for entry in entries:
        if not isinstance(entry, Wash):
            continue
        state = hold(session, room_id, entry.tank)
        if state.is_held and state.since_at is not None and entry.at >= state.since_at:
            return [FieldError("tank", held_reason(session, room_id, entry.tank))]
    return []


Held = TankHeld | StationHeld | DrumQuarantined | LotHeld
Released = TankReleased | StationReleased


def release_problems(session: Session, room_id: int, entry: Released) -> list[FieldError]:
    """Why a release that a program sends does not count: no lead says so, or none is needed."""
    if isinstance(entry, TankReleased):
        state = hold(session, room_id, entry.tank)
        if state.is_held and not state.is_for_a_lead:
            return [FieldError("tank", SAY_CONTENTS)]
    else:
        state = station_hold(session, room_id, entry.station)
    found = lead_problems(session, room_id, entry.lead)
    if is_out_of_service(session, room_id, state):
        found += second_problems(session, room_id, entry.second, entry.lead)
    return found


def lead_problems(session: Session, room_id: int, name: str) -> list[FieldError]:
    """Why a name does not count as a lead's."""
    leads = crew(session, room_id).leads
    if not leads:
        message = "No lead has been entered yet. Enter one under People and roles."
        return [FieldError("lead", message)]
    if name not in leads:
        return [FieldError("lead", f"Only a lead can do this: {', '.join(leads)}.")]
    return []


def second_problems(
    session: Session, room_id: int, second: str | None, lead: str
) -> list[FieldError]:
    """Why nobody agrees with a lead who lets a part that is out of service be used."""
    here = [one.name for one in crew(session, room_id).people if not one.has_left]
    others = [name for name in here if name.casefold() != lead.strip().casefold()]
    if (second or "").strip() in others:
        return []
    if not others:
        message = "A second person must agree. Enter one under People and roles."
    else:
        message = f"A second person must agree, somebody else: {', '.join(others)}."
    return [FieldError("second", message)]


def is_out_of_service(session: Session, room_id: int, state: HoldState) -> bool:
    """A part that an inspection took out of service holds it, and no new one is fitted."""
    for one in state.holds:
        if one.cause != "inspection":
            continue
        found: InspectionState | None = thing(session, room_id, INSPECTION, one.inspection)
        looks = found.looks if found is not None else ()
        if not looks or any(look.decided == OUT and not look.is_replaced for look in looks):
            return True
    return False


def naming_problems(entry: Held) -> list[FieldError]:
    """A name stands under a hold; one that comes with a report or an inspection has theirs."""
    is_of_report = getattr(entry, "incident", None) or getattr(entry, "inspection", None)
    if entry.by.strip() or is_of_report:
        return []
    return [FieldError("by", "Enter who is holding it. A lead asks them before releasing it.")]


def sent(entry: Entry) -> dict[str, object]:
    """What makes two submissions of an entry the same."""
    return {"kind": entry.kind, "fields": own_fields(entry), "by": entry.by, "note": entry.note}
