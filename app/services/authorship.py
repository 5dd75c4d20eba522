"""Whose an entry is: whoever said it may take it back alone, soon after; one rule everywhere."""

import json
from datetime import datetime, timedelta

from sqlmodel import Session, select

from app.store.instants import from_us
from app.store.tables import EntryRow

OWN_MINUTES = 10  # how long whoever said it may take it back alone: common practice, no source
LONGEST_CHAIN = 50


def own_until(session: Session, room_id: int, uid: str) -> tuple[str, datetime | None]:
    """Who said an entry first, and until when that person may take it back alone.

    A correction makes it neither younger nor somebody else's.
    """
    row = entry_row(session, room_id, uid)
    for _ in range(LONGEST_CHAIN):
        before = entry_row(session, room_id, row.corrects) if row and row.corrects else None
        if before is None:
            break
        row = before
    if row is None:
        return "", None
    who = json.loads(row.fields).get("lead") or row.by
    return who, from_us(row.recorded_at_us) + timedelta(minutes=OWN_MINUTES)


def is_own(session: Session, room_id: int, uid: str, by: str, now: datetime) -> bool:
    """This person said it, and within the minutes in which it may be taken back alone."""
    who, until = own_until(session, room_id, uid)
    return bool(by) and by == who and until is not None and now <= until


def is_fresh(session: Session, room_id: int, uid: str, by: str, now: datetime) -> bool:
    """It is this person's, or nobody's who gave a name, and its minutes are not over."""
    who, until = own_until(session, room_id, uid)
    return who in ("", by) and until is not None and now <= until


def entry_row(session: Session, room_id: int, uid: str) -> EntryRow | None:
    """The entry of that id; None where there is none."""
    query = select(EntryRow).where(EntryRow.room_id == room_id, EntryRow.uid == uid)
    return session.exec(query).first()
