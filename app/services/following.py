"""What follows at the door from what is entered, by whichever way it comes in.

A report of a problem holds what it names, and again where it is opened again. A tank that is held
in the middle of its swap is asked about. A tick or a close of a swap that is taken back takes back
what followed from it: a fill that did not happen took nothing off the shelf.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from uuid import uuid4

from sqlmodel import Session, col, select

from app.domain.checklists.run import SwapState
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.checklists import SWAP, StepDone, SwapClosed, TankContents
from app.domain.roomlog.kinds.incidents import Incident, IncidentReopened
from app.services.entries import entry_of
from app.services.incidents.holding import holds_again, holds_of
from app.services.swaps.asking import with_question
from app.services.swaps.under_way import Hand, questions_again, withdrawals
from app.store.tables import EntryRow
from app.store.things import thing

WITH_ACTS = (StepDone.kind, SwapClosed.kind)
"""Kinds that write what follows from them."""

Placed = tuple[int, Entry]
"""An entry and its place among those given."""


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
        if isinstance(entry, Withdrawal):
            held += _taken_back_with(session, room_id, entry, beside)
        held = with_question(session, room_id, held)
        found += [(place, one if one.id else replace(one, id=uuid4().hex)) for one in held]
    return found


def _taken_back_with(
    session: Session, room_id: int, word: Withdrawal, beside: Sequence[Entry]
) -> list[Entry]:
    """What followed from a tick or a close that is taken back, but for what is taken back beside
    it; of a close also the question what is in its tanks."""
    query = select(EntryRow).where(EntryRow.room_id == room_id, EntryRow.uid == word.withdraws)
    row = session.exec(query.where(col(EntryRow.kind).in_(WITH_ACTS))).first()
    taken = entry_of(row) if row is not None and row.voided_by is None else None
    if not isinstance(taken, StepDone | SwapClosed):
        return []
    gone = {one.withdraws for one in beside if isinstance(one, Withdrawal)}
    hand = Hand(word.at, word.by, word.note)
    found = [
        one
        for one in withdrawals(session, room_id, taken.wrote or (), hand)
        if isinstance(one, Withdrawal) and one.withdraws not in gone
    ]
    if isinstance(taken, SwapClosed) and not any(isinstance(x, TankContents) for x in beside):
        state: SwapState | None = thing(session, room_id, SWAP, taken.swap)
        return [*found, *(questions_again(state, word.at, word.by) if state is not None else ())]
    return list(found)
