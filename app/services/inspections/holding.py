"""What a part out of service holds, at once, and what is let go when its answer is taken back.

Each part that is out of service holds its tank or station by an entry of its own.
"""

import json
from collections.abc import Iterable, Sequence
from dataclasses import replace

from sqlmodel import Session, col, select

from app.domain.inspections.inspection import INSPECTION_BOOK, InspectionState
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.incidents import (
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.domain.roomlog.kinds.inspections import INSPECTION, InspectionOverruled
from app.domain.things import fold
from app.services.entries import START, entry_of, place_of
from app.store.instants import to_us
from app.store.tables import EntryRow, LinkRow

LONGEST_REASON = 190  # characters


def held_reasons(state: InspectionState) -> tuple[str, ...]:
    """Why its place is held: a reason for each part out of service, as it stands in the hold."""
    return tuple(dict.fromkeys(reason[:LONGEST_REASON] for reason in state.reasons))


def with_holds(session: Session, room_id: int, state: InspectionState, said: Entry) -> list[Entry]:
    """An entry of an inspection, behind the holds that follow from it and those that it lets go:
    what takes a part out of service counts only where its place is held."""
    return [*changes(session, room_id, state, INSPECTION_BOOK.apply(state, said), said), said]


def without(
    session: Session, room_id: int, state: InspectionState, word: Withdrawal
) -> list[Entry]:
    """The taking back of an entry of an inspection, with what it holds or lets go."""
    after = without_entry(session, room_id, state, word.withdraws)
    return [word, *changes(session, room_id, state, after, word)]


def without_entry(
    session: Session, room_id: int, state: InspectionState, uid: str
) -> InspectionState:
    """The inspection as it would be had an entry never been said."""
    left = _book(session, room_id, state.key, uid)
    after: InspectionState = fold(INSPECTION_BOOK, state.key, left)
    return after


def changes(
    session: Session, room_id: int, before: InspectionState, after: InspectionState, said: Entry
) -> list[Entry]:
    """The holds that come and go as an inspection goes from one state to another."""
    was, now = held_reasons(before), held_reasons(after)
    gone = [reason for reason in was if reason not in now]
    let_go: list[Entry] = []
    if gone:
        let_go = [
            Withdrawal(at=said.at, by=said.by, note=_why(said), withdraws=row.uid)
            for reason, row in _holding(session, room_id, before)
            if reason in gone
        ]
    come = [reason for reason in now if reason not in was]
    if again := _found_again(before, after):
        held = {reason for reason, _ in _holding(session, room_id, before)}
        come += [reason for reason in again if reason not in held and reason not in come]
    return [*let_go, *holds_for(before, come, said)]


def _found_again(before: InspectionState, after: InspectionState) -> tuple[str, ...]:
    """Why its place is held for new parts: what ended the hold for the one before ends none here.

    A lead who released the tank meanwhile did so for a part that nobody had looked at.
    """
    new = {look.component for look in before.looks if look.is_replaced}
    looks = tuple(look for look in after.looks if look.component in new and not look.is_replaced)
    return held_reasons(replace(after, looks=looks))


def missing(session: Session, room_id: int, state: InspectionState) -> list[str]:
    """Reasons of an inspection that hold nothing and never did: its place is to be held."""
    wanted = held_reasons(state)
    if not wanted:
        return []
    held = {reason for reason, _ in _said(session, room_id, state)}
    return [reason for reason in wanted if reason not in held]


def holds_for(state: InspectionState, reasons: Iterable[str], said: Entry) -> list[Entry]:
    """A hold of the inspection's tank or station for each reason."""
    return [
        TankHeld(
            at=said.at, entered_at=said.entered_at, by=said.by, tank=state.tank,
            reason=reason, cause="inspection", inspection=state.key,
        )
        if state.tank
        else StationHeld(
            at=said.at, entered_at=said.entered_at, by=said.by, station=state.station,
            reason=reason, cause="inspection", inspection=state.key,
        )
        for reason in reasons
    ]  # fmt: skip


def _why(said: Entry) -> str:
    if isinstance(said, InspectionOverruled):
        return f"{said.lead} decided otherwise: {said.reason}"[:LONGEST_REASON]
    return said.note if isinstance(said, Withdrawal) and said.note else "Answered otherwise"


def _holding(session: Session, room_id: int, state: InspectionState) -> list[tuple[str, EntryRow]]:
    """The holds of an inspection that nobody has released since, with their reasons."""
    released = (TankReleased.kind, StationReleased.kind)
    last = max((place_of(row) for row in _rows(session, room_id, state, released)), default=START)
    return [(why, row) for why, row in _said(session, room_id, state) if place_of(row) > last]


def _said(session: Session, room_id: int, state: InspectionState) -> list[tuple[str, EntryRow]]:
    found = []
    for row in _rows(session, room_id, state, (TankHeld.kind, StationHeld.kind)):
        fields = json.loads(row.fields)
        if fields.get("inspection") == state.key:
            found.append((fields["reason"], row))
    return found


def _rows(
    session: Session, room_id: int, state: InspectionState, kinds: Sequence[str]
) -> list[EntryRow]:
    """Entries of these kinds about the place of an inspection since it was started."""
    assert state.started_at is not None
    query = select(EntryRow).where(
        EntryRow.room_id == room_id,
        col(EntryRow.kind).in_(kinds),
        col(EntryRow.moment_us) >= to_us(state.started_at),
        col(EntryRow.voided_by).is_(None),
    )
    name, key = ("tank", state.tank) if state.tank else ("station", state.station)
    rows = session.exec(query).all()
    return [row for row in rows if json.loads(row.fields).get(name) == key]


def _book(session: Session, room_id: int, key: str, left_out: str) -> list[Entry]:
    """The entries of an inspection that count, without one, in the order of truth."""
    query = (
        select(EntryRow)
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(LinkRow.room_id == room_id, LinkRow.thing == INSPECTION, LinkRow.key == key)
        .where(col(EntryRow.voided_by).is_(None), EntryRow.uid != left_out)
        .order_by(col(LinkRow.moment_us), col(LinkRow.rank), col(LinkRow.sequence))
    )
    return [entry_of(row) for row in session.exec(query)]


def is_held(session: Session, room_id: int, state: InspectionState) -> bool:
    """Whether the place of an inspection is held by an entry that names the inspection."""
    return bool(_said(session, room_id, state))
