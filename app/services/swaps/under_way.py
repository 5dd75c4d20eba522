"""The swap under way at a tank: found, and asked for where one has to be."""

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.calendar_words import moment_words
from app.domain.checklists.run import SwapState
from app.domain.errors import Conflict, NotFound
from app.domain.roomlog.kinds.checklists import SWAP
from app.services.swaps.estimated import brought_up
from app.store.tables import RoomRow
from app.store.things import thing, things

ENDS = {
    "closed": "completed", "entered": "entered as completed", "abandoned": "given up",
}  # fmt: skip


@dataclass(frozen=True)
class Hand:
    """Who does something to a swap, and when it is said to have happened."""

    at: datetime
    by: str
    note: str = ""


def open_swap(session: Session, room_id: int, tank: str) -> SwapState | None:
    """The swap under way at a tank, or of the pair it belongs to; None where none has a list."""
    for state in things(session, room_id, SWAP, only_open=True).values():
        if state.is_open and tank in (state.tank, state.from_tank):
            return brought_up(session, room_id, state)
    return None


def swap_state(session: Session, room_id: int, key: str) -> SwapState:
    """A swap of that key.

    Raises:
        NotFound: there is none.
    """
    state: SwapState | None = thing(session, room_id, SWAP, key)
    if state is None or not state.steps:
        raise NotFound(f"There is no swap “{key[:64]}” with a checklist in this room.")
    return brought_up(session, room_id, state)


def under_way(session: Session, room_id: int, key: str) -> SwapState:
    """A swap that has not ended.

    Raises:
        NotFound: there is none of that key.
        Conflict: it has ended; the message says how, by whom and when.
    """
    state = swap_state(session, room_id, key)
    if state.end:
        who, at = state.ended_by or "somebody", state.ended_at
        when = f" at {local(session, room_id, at)}" if at else ""
        raise Conflict(f"This swap was {ENDS[state.end]} by {who}{when}. Nothing was stored.")
    return state


def local(session: Session, room_id: int, at: datetime) -> str:
    """An instant in the room's time, for messages."""
    zone = ZoneInfo(session.get_one(RoomRow, room_id).time_zone)
    return moment_words(at, zone)
