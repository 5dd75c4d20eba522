"""Whether an entry fits the things it names as they stand: what pages and programs may say.

A log that is brought in is not asked: it tells what was, under rules that may have been others.
"""

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.kinds import Entry, Wash, Withdrawal
from app.domain.roomlog.kinds.checklists import KINDS_OF_CHECKLISTS
from app.domain.roomlog.kinds.curing import KINDS_OF_CURING
from app.domain.roomlog.kinds.incidents import StationReleased, TankReleased
from app.domain.roomlog.kinds.planning import KINDS_OF_PLANNING
from app.domain.roomlog.kinds.supplies import KINDS_OF_SUPPLIES, Item, StockEntry
from app.domain.roomlog.kinds.waste import KINDS_OF_WASTE
from app.services.curing.checks import entry_problems
from app.services.entries import stored_ids
from app.services.incidents.holds import Released, held_problems, release_problems
from app.services.inspections.checks import CHECKED as OF_INSPECTIONS
from app.services.inspections.checks import inspection_problems
from app.services.inspections.lifting import withdrawal_problems
from app.services.planning.days import plan_problems
from app.services.roomlog import Recorded, record_decided, said
from app.services.supplies.stock import item_problems, stock_problems
from app.services.swaps.checks import swap_problems
from app.services.waste import waste_problems
from app.store.engine import Store
from app.store.tables import RoomRow

Check = Callable[[Session, RoomRow, Any, datetime], list[FieldError]]


def _stock(session: Session, room: RoomRow, entry: StockEntry, now: datetime) -> list[FieldError]:
    assert room.id is not None
    return stock_problems(session, room.id, entry, now)


def _curing(session: Session, room: RoomRow, entry: Entry, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return entry_problems(session, room.id, entry)


def _wash(session: Session, room: RoomRow, entry: Wash, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return held_problems(session, room.id, [entry])


def _release(session: Session, room: RoomRow, entry: Released, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return release_problems(session, room.id, entry)


CHECKS: Mapping[type[Entry], Check] = {
    **dict.fromkeys(KINDS_OF_WASTE, waste_problems),
    **{kind: _stock for kind in KINDS_OF_SUPPLIES if issubclass(kind, StockEntry)},
    Item: item_problems,
    **dict.fromkeys(KINDS_OF_CURING, _curing),
    Wash: _wash,
    Withdrawal: withdrawal_problems,
    **dict.fromkeys((TankReleased, StationReleased), _release),
    **dict.fromkeys(KINDS_OF_PLANNING, plan_problems),
    **dict.fromkeys(KINDS_OF_CHECKLISTS, swap_problems),
    **dict.fromkeys(OF_INSPECTIONS, inspection_problems),
}


def problems_of(session: Session, room: RoomRow, entry: Entry, now: datetime) -> list[FieldError]:
    """Why the room as it stands refuses an entry; a correction is held against no books."""
    check = CHECKS.get(type(entry))
    return [] if check is None or entry.corrects else check(session, room, entry, now)


def record_checked(
    store: Store,
    room: str,
    entries: Sequence[Entry],
    now: datetime,
    submission: str | None = None,
) -> Recorded:
    """Store entries, each held against the room as it stood before the first of them.

    Raises:
        FieldErrors: one does not fit; of several its place is named. Nothing is stored.
        Conflict, NotFound: as `roomlog.record`.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        known = stored_ids(session, row.id, [entry.id for entry in entries])
        for place, entry in enumerate(entries):
            if entry.id in known:
                continue  # it is skipped, whatever has become of the room since
            if found := problems_of(session, row, entry, now):
                raise FieldErrors(found, place)
        return entries

    content = {"entries": [[*said(entry, now), entry.id, entry.corrects] for entry in entries]}
    return record_decided(store, room, decide, content, now, submission)


def withdraw_checked(
    store: Store, room: str, word: Withdrawal, submission: str | None = None
) -> Recorded:
    """Take an entry back, unless it holds a tank or station that only a lead releases.

    Raises:
        Conflict: it is held so, or was taken back before.
    """
    try:
        return record_checked(store, room, [word], word.at, submission)
    except FieldErrors as error:
        raise Conflict(" ".join(error.by_field().values())) from None
