"""Swaps with the litres of their baths as the log tells them by now, found in few rows."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Any

from sqlmodel import Session, col, select

from app.domain.checklists.run import SwapState
from app.domain.litres.told_late import ACTS, Moved, litres_at_start
from app.domain.roomlog.kinds import Swap, Tank
from app.domain.roomlog.kinds.checklists import SWAP, SwapOpened
from app.services.changes import Told
from app.services.entries import Place, before, entry_of, place_of
from app.store.tables import EntryRow, LinkRow

KINDS = sorted(kind.kind for kind in ACTS)
NEW_BATHS = (Swap.kind, Tank.kind)


def as_told_by_now(session: Session, room_id: int, told: Iterable[Told]) -> Iterator[Told]:
    """Entries on their way into the book; the openings of swaps brought up."""
    for one in told:
        entry = one.entry
        if isinstance(entry, SwapOpened):
            entry = brought_up(session, room_id, entry, one.place, one.id)
        yield replace(one, entry=entry)


def brought_up(
    session: Session, room_id: int, entry: SwapOpened, place: Place, number: int
) -> SwapOpened:
    """The opening of a swap with what was told later of what its baths held."""

    def litres(tank: str, estimated_l: float, capacity_l: float) -> float:
        acts = _acts(session, room_id, tank, place)
        return litres_at_start(estimated_l, capacity_l, number, acts)

    brought = replace(entry, estimated_l=litres(entry.tank, entry.estimated_l, entry.capacity_l))
    if entry.from_tank is None:
        return brought
    capacity_l = entry.from_capacity_l or entry.capacity_l
    from_l = litres(entry.from_tank, entry.from_estimated_l or 0.0, capacity_l)
    return replace(brought, from_estimated_l=from_l)


def with_told_late(session: Session, room_id: int, state: SwapState) -> SwapState:
    """A swap under way with the same."""
    query = (
        select(EntryRow)
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(LinkRow.room_id == room_id, LinkRow.thing == SWAP, LinkRow.key == state.key)
        .where(EntryRow.kind == SwapOpened.kind, col(EntryRow.voided_by).is_(None))
    )
    row = session.exec(query).first()
    entry = entry_of(row) if row is not None else None
    if row is None or not isinstance(entry, SwapOpened):
        return state
    found = brought_up(session, room_id, entry, place_of(row), row.id or 0)
    return replace(state, estimated_l=found.estimated_l, from_estimated_l=found.from_estimated_l)


def _acts(session: Session, room_id: int, tank: str, place: Place) -> list[Moved]:
    """What moved the level of a tank between its last new bath and a place, in order."""
    mine = EntryRow.room_id == room_id, EntryRow.tank == tank, before(EntryRow, place)
    last = (
        select(EntryRow.at_us)
        .where(*mine, EntryRow.at_us <= place.moment_us, col(EntryRow.kind).in_(NEW_BATHS))
        .where(col(EntryRow.voided_by).is_(None))
        .order_by(col(EntryRow.at_us).desc())
    )
    since_us = session.exec(last.limit(1)).first()
    query = (
        select(EntryRow)
        .where(*mine, EntryRow.at_us <= place.moment_us, col(EntryRow.kind).in_(KINDS))
        .order_by(col(EntryRow.moment_us), col(EntryRow.rank), col(EntryRow.sequence))
    )
    if since_us is not None:
        query = query.where(EntryRow.at_us >= since_us)
    rows = session.exec(query).all()
    words = _numbers(session, room_id, [one.voided_by for one in rows if one.voided_by])
    return [
        Moved(entry_of(row), row.id or 0, words.get(row.voided_by) if row.voided_by else None)
        for row in rows
    ]


def _numbers(session: Session, room_id: int, uids: list[str]) -> dict[str, int]:
    if not uids:
        return {}
    columns: Any = select(EntryRow.uid, EntryRow.id)
    query = columns.where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(uids))
    return dict(session.exec(query).all())
