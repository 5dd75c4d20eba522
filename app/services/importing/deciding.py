"""What a file decides that only a lead decides, in a room that has leads and a life of its own.

A log that comes into an empty room tells what was. In a room that people work in, a line with the
room's limits or an interlock decides what they may do next, so a lead brings it in. Such a line
tells of nothing that happened, so it meets every rule that a form of that kind meets.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime

from sqlmodel import Session, and_, col, func, select

from app.domain.errors import FieldError, LeadNeeded
from app.domain.lot_keys import lot_key
from app.domain.people.permissions import KINDS, LEAD, action_of
from app.domain.roomlog.kinds import Entry, Wash, Withdrawal
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.curing import Cure
from app.domain.roomlog.kinds.part_lots import PartLotReleased
from app.domain.roomlog.kinds.planning import KINDS_OF_PLANNING
from app.domain.roomlog.kinds.site import RoomArchived, RoomRestored
from app.domain.roomlog.kinds.spending import WhatIfCase
from app.services.archiving import archiving_problems
from app.services.crew import who_names_leads
from app.services.leading import LETS_GO, RELEASES, takes_back
from app.services.refusals import problems_of
from app.store.import_tables import ImportPartRow, ImportRow
from app.store.imports import parts_of
from app.store.site import crew
from app.store.tables import EntryRow, RoomRow


def leads_asked(session: Session, room_id: int) -> list[str]:
    """Whose word a file with a lead's decisions needs; empty where nobody is asked."""
    leads = who_names_leads(crew(session, room_id))
    return leads if leads and has_own_entries(session, room_id) else []


def require_led(session: Session, room_id: int) -> None:
    """Refuse a file that decides what a lead decides and that no lead brings in.

    Raises:
        LeadNeeded: a lead is asked here.
    """
    if leads := leads_asked(session, room_id):
        raise LeadNeeded(leads)


def has_decided(session: Session, room_id: int, found: ImportRow) -> bool:
    """An import brought what a lead decides, and that counts still; never where nobody is asked."""
    assert found.id is not None
    led = [kind for kind, action in KINDS.items() if action == LEAD and kind not in LETS_GO]
    query = select(EntryRow.id).where(
        EntryRow.room_id == room_id, col(EntryRow.kind).in_(led), col(EntryRow.voided_by).is_(None)
    )
    brought = (
        session.exec(query.where(col(EntryRow.id).between(first, last)).limit(1)).first()
        for first, last in parts_of(session, found.id)
    )
    return any(brought) and bool(leads_asked(session, room_id))


def has_own_entries(session: Session, room_id: int) -> bool:
    """Something was entered here that no import brought."""
    every = select(func.count()).select_from(EntryRow).where(EntryRow.room_id == room_id)
    brought = (
        select(func.count())
        .select_from(ImportPartRow)
        .join(ImportRow, col(ImportRow.id) == col(ImportPartRow.import_id))
        .join(
            EntryRow,
            and_(
                col(EntryRow.id) >= col(ImportPartRow.first_id),
                col(EntryRow.id) <= col(ImportPartRow.last_id),
            ),
        )
        .where(ImportRow.room_id == room_id, EntryRow.room_id == room_id)
    )
    return session.exec(every).one() > session.exec(brought).one()


def decided(session: Session, room_id: int, entries: Mapping[int, Entry]) -> Iterator[str]:
    """The lines that say what only a lead decides, in words; none where nobody is asked."""
    found = {line: entry for line, entry in entries.items() if _is_led(session, room_id, entry)}
    if found and leads_asked(session, room_id):
        for line, entry in found.items():
            yield f"line {line}, {entry.summary.lower()}"


def archivings(
    session: Session, room: RoomRow, entries: Mapping[int, Entry]
) -> Iterator[tuple[int, list[FieldError]]]:
    """Lines that would archive a room which people work in and which is not to be archived."""
    said = {n: one for n, one in entries.items() if isinstance(one, RoomArchived | RoomRestored)}
    for line, entry in said.items():
        is_over = any(isinstance(one, RoomRestored) and one.at >= entry.at for one in said.values())
        if not isinstance(entry, RoomArchived) or is_over:
            continue
        problems = archiving_problems(session, room, entry)
        if problems and has_own_entries(session, room.id or 0):
            yield line, problems


CHAINED = (Wash, Cure)
CHAIN_FIRST = (
    "This file also has washes or cures of this lot. A release is checked against what is stored. "
    "Store the file without this line, then bring the same file in again: the line is then checked "
    "against them."
)
HURTS_NOBODY = (*KINDS_OF_PLANNING, RoomArchived, RoomRestored, WhatIfCase)
"""What a lead decides too, and is looked at elsewhere or only a plan."""


def undecided(
    session: Session, room: RoomRow, entries: Mapping[int, Entry], now: datetime
) -> Iterator[tuple[int, list[FieldError]]]:
    """Lines that decide what holds here from now on, and that a rule of the room refuses."""
    said = {line: one for line, one in entries.items() if _decides(one)}
    if not said or not has_own_entries(session, room.id or 0):
        return
    chained = {lot_key(one.lot or "") for one in entries.values() if isinstance(one, CHAINED)}
    for line, entry in said.items():
        problems = problems_of(session, room, entry, now)
        if problems and isinstance(entry, PartLotReleased) and lot_key(entry.lot) in chained:
            problems = [FieldError("lot", CHAIN_FIRST)]
        if problems:
            yield line, problems


def _decides(entry: Entry) -> bool:
    is_led = action_of(entry.kind) == LEAD or isinstance(entry, TankBuild)
    return is_led and entry.kind not in RELEASES and not isinstance(entry, HURTS_NOBODY)


def _is_led(session: Session, room_id: int, entry: Entry) -> bool:
    """What holds of the room a release would lift is looked at line by line (standing)."""
    if isinstance(entry, Withdrawal):
        return takes_back(session, room_id, entry)
    if isinstance(entry, TankBuild) and entry.lead:
        return True
    return action_of(entry.kind) == LEAD and entry.kind not in RELEASES
