"""Whether a lead who let a swap go on knew of what was found."""

from collections.abc import Iterable, Sequence
from typing import Any

from sqlmodel import Session, col, select

from app.domain.checklists.run import Overrule, SwapState
from app.domain.holds import HoldState
from app.domain.inspections.components import ComponentState
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import HOLD, TankHeld
from app.domain.roomlog.kinds.inspections import (
    INSPECTION,
    InspectionAnswered,
    InspectionClosed,
    InspectionOverruled,
)
from app.services.authorship import entry_row
from app.services.entries import entry_of
from app.services.then import rows_of
from app.store.tables import EntryRow
from app.store.things import thing

ANSWERS = (InspectionAnswered, InspectionOverruled)
Rows = Sequence[EntryRow]


def knew(session: Session, room_id: int, words: Iterable[Overrule], found: Rows) -> bool:
    """Whether one of these words was said after all that was found, and once the room knew of it:
    what is entered late, for an earlier time, nobody knew."""
    said = [one.id for one in words]
    if not said or not found:
        return bool(said)
    query = select(EntryRow).where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(said))
    last_at_us = max(one.at_us for one in found)
    last_id = max(_told_first(session, room_id, one) for one in found)
    return any(
        row.at_us >= last_at_us and (row.id or 0) > last_id for row in session.exec(query).all()
    )


BESIDE = ("id", "by", "note", "corrects", "entered_at")
"""What an entry says besides what was found."""


def _told_first(session: Session, room_id: int, row: EntryRow) -> int:
    """Where the room first heard of it: who put right a name or a note found nothing new."""
    entry = entry_of(row)
    while entry.corrects:
        before = entry_row(session, room_id, entry.corrects)
        if before is None or _finding(entry_of(before)) != _finding(entry):
            break
        row, entry = before, entry_of(before)
    return row.id or 0


def _finding(entry: Entry) -> tuple[type[Entry], dict[str, Any]]:
    return type(entry), {key: one for key, one in vars(entry).items() if key not in BESIDE}


def out_of_service(session: Session, room_id: int, state: SwapState) -> Rows:
    """What took a part of the swap's tanks out of service and still holds them."""
    found: list[EntryRow] = []
    for tank in filter(None, (state.tank, state.from_tank)):
        hold: HoldState | None = thing(session, room_id, HOLD, tank)
        since = {one.since_at for one in hold.holds if one.cause == INSPECTION} if hold else set()
        for row in rows_of(session, room_id, HOLD, tank) if since else ():
            one = entry_of(row)
            if isinstance(one, TankHeld) and one.cause == INSPECTION and one.at in since:
                found.append(row)
    return found


def answers_at(session: Session, room_id: int, part: ComponentState) -> Rows:
    """What was said of a part at the look that stands."""
    if part.standing is None:
        return []
    rows = ((row, entry_of(row)) for row in
            rows_of(session, room_id, INSPECTION, part.standing.inspection))  # fmt: skip
    return [row for row, one in rows if isinstance(one, ANSWERS) and one.component == part.key]


def signed_at(session: Session, room_id: int, inspection: str) -> Rows:
    """What an inspection was signed with."""
    rows = rows_of(session, room_id, INSPECTION, inspection)
    return [row for row in rows if row.kind in (InspectionClosed.kind, InspectionAnswered.kind)]


def begun_at(session: Session, room_id: int, uid: str) -> Rows:
    """The entry of that id that began an inspection."""
    row = entry_row(session, room_id, uid)
    return [] if row is None else [row]
