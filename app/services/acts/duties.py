"""A duty is done or set, and a month is closed, by the door."""

from collections.abc import Collection, Sequence
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.duties import DutyDone, DutySet, MonthClose
from app.services import door
from app.services.door import Recorded
from app.services.duties.due import closes, find_duty
from app.services.incidents.holds import sent
from app.store.engine import Store
from app.store.tables import RoomRow


def mark_done(
    store: Store, room: str, entry: DutyDone, now: datetime, key: str | None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Say that a duty was done.

    Raises:
        FieldErrors: the log does this one by itself, or nothing of that name is here.
        NotFound: there is no such duty.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        find_duty(session, row.id, entry.duty)
        return [entry]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key, confirmed=confirmed)


def set_duty(
    store: Store, room: str, entry: DutySet, now: datetime, key: str | None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Set a duty's interval, add one of the site's own, or stop one.

    Raises:
        FieldErrors: a new one lacks its name or interval.
    """

    return door.enter(store, room, [entry], now, key, confirmed=confirmed)


def close_month(
    store: Store, room: str, entry: MonthClose, now: datetime, key: str | None,
    *, confirmed: Collection[str] = (),
) -> Recorded:  # fmt: skip
    """Close a tank's month; the first close takes no volumes.

    Raises:
        FieldErrors: a later close needs what was added; it lies before the last one.
        Doubtful: the log has far more or less, and nobody has confirmed it.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        last = closes(session, row.id or 0, entry.tank).last
        if last is None:
            return [replace(entry, added_l=None, removed_l=None, solids_l=None)]
        return [entry]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key, confirmed=confirmed)
