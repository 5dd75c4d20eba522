"""Whether an entry is a part of what it names: of a swap under way, of a reported problem.

What is a part of one was asked where that began, so it is not asked again. A name alone is no such
thing: a key that nobody knows, or of a swap that is over, would let anything pass unasked.
"""

from typing import Any

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.incidents.book import IncidentState
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.incidents import INCIDENT
from app.store.things import thing


def is_of_swap(session: Session, room_id: int, entry: Any) -> bool:
    """It names a swap of its tank that is under way, or of which the tank's contents are asked.

    What a correction says again belongs to the swap that it belonged to.
    """
    key, tank = getattr(entry, "swap", None), getattr(entry, "tank", None)
    state: SwapState | None = thing(session, room_id, SWAP, key) if key else None
    if state is None or not state.steps:
        return False
    is_its_tank = tank in (None, state.tank, state.from_tank)
    # With the new bath its completion says what stood in the tank by then.
    is_at_its_end = state.end == "entered" and getattr(entry, "left_l", None) is not None
    return is_its_tank and bool(state.is_open or state.asks or entry.corrects or is_at_its_end)


def is_of_problem(session: Session, room_id: int, entry: Any) -> bool:
    """It names a problem that is reported and open."""
    key = getattr(entry, "incident", None)
    state: IncidentState | None = thing(session, room_id, INCIDENT, key) if key else None
    return state is not None and bool(state.problem) and bool(not state.is_closed or entry.corrects)
