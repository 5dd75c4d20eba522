"""What a swap reckons with as the contents of its baths, as the log tells it by now.

A swap opens with what the estimate says then. What is told of the bath later, and happened before
it was emptied, moves the estimate: a top-up that was forgotten, one taken back, a reading.
"""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, or_, select

from app.domain.baths.fold import BATHS
from app.domain.checklists.run import SwapState
from app.domain.checklists.tank_contents import heel, left_in_clean
from app.domain.roomlog.kinds import BATH_KINDS, Swap
from app.domain.roomlog.kinds.checklists import SWAP, SwapOpened
from app.services.baths.states import baths_of
from app.store.instants import from_us, to_us
from app.store.tables import EntryRow, RoomRow
from app.store.things import book

KINDS = sorted(set(BATH_KINDS) - {Swap.kind})


def brought_up(session: Session, room_id: int, state: SwapState) -> SwapState:
    """A swap under way with the litres of its baths as they are estimated by all that is told."""
    opened = _opening(session, room_id, state.key) if state.is_open else None
    if opened is None:
        return state
    left, moved = heel(state, 0.0), left_in_clean(state, 0.0)
    tanks = {state.tank: left.since_at if left else None}
    if state.from_tank is not None:
        tanks[state.from_tank] = moved.since_at if moved else None
    late = [tank for tank, at in tanks.items() if _is_told_late(session, room_id, opened, tank, at)]
    if not late:
        return state
    now_l = _litres(session, room_id, {tank: tanks[tank] for tank in late})
    return replace(
        state,
        estimated_l=now_l.get(state.tank, state.estimated_l),
        from_estimated_l=now_l.get(state.from_tank or "", state.from_estimated_l),
    )


def _opening(session: Session, room_id: int, key: str) -> EntryRow | None:
    rows = [row for row in book(session, room_id, SWAP, key) if row.kind == SwapOpened.kind]
    return next((row for row in rows if row.voided_by is None), None)


def _is_told_late(
    session: Session, room_id: int, opened: EntryRow, tank: str, emptied_at: datetime | None
) -> bool:
    """Something of the bath before it was emptied was stored, corrected or taken back since."""
    word = aliased(EntryRow)
    query = (
        select(EntryRow.id)
        .join(
            word,
            (col(word.room_id) == room_id) & (col(word.uid) == col(EntryRow.voided_by)),
            isouter=True,
        )
        .where(EntryRow.room_id == room_id, EntryRow.tank == tank, col(EntryRow.kind).in_(KINDS))
        .where(
            or_(
                (col(EntryRow.id) > opened.id) & col(EntryRow.voided_by).is_(None),
                (col(EntryRow.id) < opened.id) & (col(word.id) > opened.id),
            )
        )
    )
    if emptied_at is not None:
        query = query.where(col(EntryRow.at_us) < to_us(emptied_at))
    return session.exec(query.limit(1)).first() is not None


def _litres(
    session: Session, room_id: int, tanks: Mapping[str, datetime | None]
) -> dict[str, float]:
    """What each bath holds by its estimate when it is emptied, or after its last entry."""
    room = session.get_one(RoomRow, room_id)
    run = baths_of(room).head(session, room_id, BATHS)
    last = from_us(run.place.moment_us)
    found = {
        tank: run.state.belief(tank, last if at is None else max(at, last))
        for tank, at in tanks.items()
    }
    return {tank: round(belief.volume_l, 3) for tank, belief in found.items()}
