"""Undo: what was just entered is taken back where it was entered, by whoever entered it."""

from collections.abc import Callable, Sequence
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import Conflict
from app.domain.roomlog.kinds import Entry, Withdrawal
from app.services import door
from app.services.authorship import OWN_MINUTES, entry_row, is_fresh, own_until
from app.services.door import Recorded
from app.services.entries import entry_of
from app.store.engine import Store
from app.store.log import find_entry
from app.store.tables import RoomRow

WHY = "Undone at once"
ELSEWHERE = "This was not entered on this page, so it cannot be undone here. Open it in the log."


def undo(
    store: Store,
    room: str,
    uids: Sequence[str],
    by: str,
    now: datetime,
    is_of_page: Callable[[Entry], bool],
) -> Recorded:
    """Take entries back that this person has just made on the page that undoes them.

    Whatever follows from an entry under its own id (`….1`) goes with it.

    Raises:
        NotFound: there is no such entry.
        Conflict: the page stores no such entry, its minutes are over, or somebody else made it;
            the message says which way is left. Nothing is taken back.
    """

    def decide(session: Session, room_row: RoomRow) -> Sequence[Entry]:
        assert room_row.id is not None
        for uid in uids:
            row = find_entry(session, room_row.id, uid)
            if not is_of_page(entry_of(row)):
                raise Conflict(ELSEWHERE)
            if row.voided_by is None and not is_fresh(session, room_row.id, uid, by, now):
                raise Conflict(_too_late(session, room_row.id, uid, by))
        with_it = [f"{uid}.1" for uid in uids if _counts(session, room_row.id, f"{uid}.1")]
        return [Withdrawal(at=now, by=by, note=WHY, withdraws=uid) for uid in (*uids, *with_it)]

    return door.enter(store, room, door.Act(decide, {"undo": list(uids), "by": by}), now, by=by)


def _counts(session: Session, room_id: int, uid: str) -> bool:
    row = entry_row(session, room_id, uid)
    return row is not None and row.voided_by is None


def _too_late(session: Session, room_id: int, uid: str, by: str) -> str:
    who, _ = own_until(session, room_id, uid)
    why = f"{who} entered this" if who != by else f"This was entered over {OWN_MINUTES} minutes ago"
    return (
        f"{why}. Only the person who entered it can undo it, for {OWN_MINUTES} minutes. Otherwise "
        "open it in the log, and correct or withdraw it there."
    )
