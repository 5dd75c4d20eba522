"""The swap under way at a tank: found, and asked for where one has to be."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.domain.calendar_words import moment_words
from app.domain.checklists.gates import may_flow
from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import standing
from app.domain.errors import Conflict, NotFound
from app.domain.roomlog.kinds import Entry, Swap, SwapStarted, Withdrawal
from app.domain.roomlog.kinds.checklists import SWAP
from app.services.authorship import entry_row
from app.services.entries import entry_of
from app.services.swaps.asking import question
from app.services.swaps.estimated import brought_up
from app.store.instants import from_us, to_us
from app.store.tables import EntryRow, RoomRow, TankRow
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
        row = entry_row(session, room_id, uid)
        while row is not None and row.voided_by is not None:
            row = entry_row(session, room_id, row.voided_by)
        if row is not None and row.kind != Withdrawal.kind:
            found.append(Withdrawal(at=hand.at, by=hand.by, note=hand.note, withdraws=row.uid))
    return list(found)


def questions_again(state: SwapState, at: datetime, by: str) -> list[Entry]:
    """What is in the tanks that a swap has emptied or filled, or may have, asked as it is under way
    again."""
    open_again = replace(state, end="", said=())
    return [
        question(state, tank, at, by)
        for tank in filter(None, (state.tank, state.from_tank))
        if standing(open_again, tank, 0.0) is not None or may_flow(open_again, tank)
    ]


def next_of(
    session: Session, room_id: int, state: SwapState, gone: Collection[str] = ()
) -> str:  # fmt: skip
    """What has come into the tanks of a completed swap since, or begun; empty where nothing has.

    `gone` are entries that are taken back with its completion.
    """
    closed = entry_row(session, room_id, state.close_id)
    if closed is None:
        return ""
    tanks = [tank for tank in (state.tank, state.from_tank) if tank]
    query = (
        select(EntryRow)
        .where(EntryRow.room_id == room_id, col(EntryRow.tank).in_(tanks))
        .where(col(EntryRow.kind).in_((Swap.kind, SwapStarted.kind)))
        .where(col(EntryRow.voided_by).is_(None), col(EntryRow.id) > closed.id)
        .where(col(EntryRow.at_us) >= to_us(state.started_at or from_us(closed.at_us)))
        .order_by(col(EntryRow.at_us), col(EntryRow.id))
    )
    for row in session.exec(query):
        is_bath = row.kind == Swap.kind
        is_later = not is_bath or row.at_us > closed.at_us
        if row.uid in gone or not is_later or getattr(entry_of(row), "swap", None) == state.key:
            continue
        tank = session.get(TankRow, (room_id, row.tank))
        name = tank.name if tank is not None else row.tank
        return (
            f"The next bath of {name} is in." if is_bath else f"The next swap of {name} has begun."
        )
    return ""
