"""The swap under way at a tank: found, and asked for where one has to be."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session, select

from app.domain.calendar_words import moment_words
from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import standing
from app.domain.errors import Conflict, NotFound
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.checklists import SWAP
from app.services.swaps.asking import question
from app.services.swaps.estimated import brought_up
from app.store.tables import EntryRow, RoomRow
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


def withdrawals(session: Session, room_id: int, ids: Sequence[str], hand: Hand) -> list[Entry]:
    """What takes entries back: of each the correction that counts, those withdrawn left out."""
    found = []
    for uid in ids:
        row = _row(session, room_id, uid)
        while row is not None and row.voided_by is not None:
            row = _row(session, room_id, row.voided_by)
        if row is not None and row.kind != Withdrawal.kind:
            found.append(Withdrawal(at=hand.at, by=hand.by, note=hand.note, withdraws=row.uid))
    return list(found)


def questions_again(state: SwapState, at: datetime, by: str) -> list[Entry]:
    """What is in the tanks that a swap has emptied or filled, asked as it is under way again."""
    open_again = replace(state, end="", said=())
    return [
        question(state, tank, at, by)
        for tank in filter(None, (state.tank, state.from_tank))
        if standing(open_again, tank, 0.0) is not None
    ]


def _row(session: Session, room_id: int, uid: str) -> EntryRow | None:
    query = select(EntryRow).where(EntryRow.room_id == room_id, EntryRow.uid == uid)
    return session.exec(query).first()
