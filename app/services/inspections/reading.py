"""Reading positions and inspections of a room."""

import re

from sqlmodel import Session

from app.domain.errors import Conflict, NotFound
from app.domain.inspections.components import ComponentState
from app.domain.inspections.inspection import InspectionState, Look
from app.domain.inspections.parts import sitting
from app.domain.roomlog.kinds.inspection_data import PARTS
from app.domain.roomlog.kinds.inspections import COMPONENT, INSPECTION
from app.store.things import thing, things


def components(session: Session, room_id: int) -> dict[str, ComponentState]:
    """The positions of the room that are set up and not retired, by key."""
    found = things(session, room_id, COMPONENT, only_open=True)
    return {key: state for key, state in found.items() if state.part}


def positions_of(
    session: Session, room_id: int, *, tank: str = "", station: str = ""
) -> list[ComponentState]:
    """The positions of a tank or of a station: impellers with what sits on them first."""
    found = components(session, room_id).values()
    here = [one for one in found if (one.tank, one.station) == (tank, station)]
    return sorted(here, key=_place)


def _place(one: ComponentState) -> tuple[bool, int, int, str]:
    number = re.search(r"\d+$", one.name)
    at_impeller = one.part in sitting("impeller")
    return (not at_impeller, int(number[0]) if number else 0, PARTS.index(one.part), one.name)


def to_look_at(session: Session, room_id: int) -> dict[str, list[ComponentState]]:
    """By place, `tanks/<key>` or `stations/<key>`: positions that want another look or a part."""
    found: dict[str, list[ComponentState]] = {}
    for state in components(session, room_id).values():
        if state.wants_look:
            place = f"tanks/{state.tank}" if state.tank else f"stations/{state.station}"
            found.setdefault(place, []).append(state)
    return found


def inspections(
    session: Session, room_id: int, *, only_open: bool = False
) -> list[InspectionState]:
    """The room's inspections, the latest first."""
    found = things(session, room_id, INSPECTION, only_open=only_open).values()
    started = [state for state in found if state.started_at is not None]
    return sorted(started, key=lambda state: (state.started_at, state.key), reverse=True)


def find_inspection(session: Session, room_id: int, key: str) -> InspectionState:
    """The inspection of that key.

    Raises:
        NotFound: there is none, or its start was taken back.
    """
    state: InspectionState | None = thing(session, room_id, INSPECTION, key)
    if state is None or state.started_at is None:
        raise NotFound(f"There is no inspection “{key[:64]}” in this room.")
    return state


def under_way(session: Session, room_id: int, key: str) -> InspectionState:
    """An inspection that is not signed.

    Raises:
        NotFound: there is none.
        Conflict: it is signed.
    """
    state = find_inspection(session, room_id, key)
    if state.is_closed:
        raise Conflict("This inspection is closed. Start a new one.")
    return state


def find_look(state: InspectionState, component: str) -> Look:
    """The look at a position.

    Raises:
        NotFound: the inspection has no such position.
    """
    look = state.look(component)
    if look is None:
        raise NotFound("This inspection has no such part.")
    return look
