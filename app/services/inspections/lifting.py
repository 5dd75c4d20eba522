"""Who may lift a hold by taking back what brought it: whoever said it, soon after, else a lead."""

import json
from collections.abc import Sequence
from datetime import datetime, timedelta

from sqlmodel import Session, select

from app.domain.errors import FieldError
from app.domain.inspections.inspection import Look
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.domain.roomlog.kinds.incidents import StationHeld, TankHeld
from app.services.incidents.holds import lead_problems
from app.store.instants import from_us
from app.store.tables import EntryRow, RoomRow

OWN_MINUTES = 10  # how long whoever said it may take it back alone: common practice, no source
HOLDS = (TankHeld.kind, StationHeld.kind)


def lifts(entries: Sequence[Entry]) -> bool:
    """Whether entries let go more holds than they set: the first is what brings them about."""
    gone = sum(isinstance(one, Withdrawal) for one in entries[1:])
    return gone > sum(isinstance(one, TankHeld | StationHeld) for one in entries[1:])


def own_until(session: Session, room_id: int, uid: str) -> tuple[str, datetime | None]:
    """Who said an entry, and until when that person may take it back alone."""
    query = select(EntryRow).where(EntryRow.room_id == room_id, EntryRow.uid == uid)
    row = session.exec(query).first()
    if row is None:
        return "", None
    who = json.loads(row.fields).get("lead") or row.by
    return who, from_us(row.recorded_at_us) + timedelta(minutes=OWN_MINUTES)


def is_own(session: Session, room_id: int, uid: str, by: str, now: datetime) -> bool:
    """This person said it, and within the minutes in which it may be taken back alone."""
    who, until = own_until(session, room_id, uid)
    return bool(by) and by == who and until is not None and now <= until


def holding_entry(look: Look) -> str:
    """The entry for which a part is out of service: a lead's word, else the answers."""
    return look.overrule_entry or look.given_entry or look.entry


def undo_problems(
    session: Session, room_id: int, look: Look, word: Withdrawal, lead: str, reason: str
) -> list[FieldError]:
    """Why somebody may not lift a hold by taking back what was said about a part."""
    if is_own(session, room_id, holding_entry(look), word.by, word.at):
        return []
    errors = lead_problems(session, room_id, lead)
    if not reason.strip():
        errors.append(FieldError("reason", "Say why: this lets go what is held."))
    return errors


def change_problems(
    session: Session, room_id: int, look: Look, by: str, now: datetime
) -> list[FieldError]:
    """Why somebody may not lift a hold by answering otherwise."""
    if is_own(session, room_id, holding_entry(look), by, now):
        return []
    message = (
        f"The answers of {look.by or 'somebody'} hold this. They change them within {OWN_MINUTES} "
        "minutes; after that, and for anybody else, a lead takes them back or decides otherwise, "
        "with a reason."
    )
    return [FieldError("answers", message)]


def withdrawal_problems(
    session: Session, room: RoomRow, word: Withdrawal, now: datetime
) -> list[FieldError]:
    """Why an entry that holds a tank or station may not be withdrawn: a lead releases it."""
    assert room.id is not None
    query = select(EntryRow).where(EntryRow.room_id == room.id, EntryRow.uid == word.withdraws)
    row = session.exec(query).first()
    if row is None or row.kind not in HOLDS or row.voided_by is not None:
        return []
    is_finding = json.loads(row.fields).get("inspection")
    if not is_finding and is_own(session, room.id, row.uid, word.by, now):
        return []
    message = (
        "This entry holds a tank or station. A lead releases it on its page, with a reason"
        + ("." if is_finding else f"; whoever entered it takes it back within {OWN_MINUTES} min.")
    )
    return [FieldError("withdraws", message)]
