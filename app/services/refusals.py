"""Whether an entry fits the things it names as they stand: what pages and programs may say.

A log that is brought in is not asked: it tells what was, under rules that may have been others.
"""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.kinds import (
    Entry,
    Reading,
    Removal,
    Swap,
    SwapAbandoned,
    TopUp,
    Wash,
    Withdrawal,
)
from app.domain.roomlog.kinds.checklists import KINDS_OF_CHECKLISTS, KINDS_OF_CONTENTS
from app.domain.roomlog.kinds.curing import KINDS_OF_CURING
from app.domain.roomlog.kinds.incidents import StationReleased, TankReleased
from app.domain.roomlog.kinds.planning import KINDS_OF_PLANNING
from app.domain.roomlog.kinds.supplies import KINDS_OF_SUPPLIES, Item, StockEntry
from app.domain.roomlog.kinds.waste import KINDS_OF_WASTE
from app.services.curing.checks import entry_problems
from app.services.entries import entry_of, stored_ids
from app.services.incidents.holds import Released, held_problems, release_problems
from app.services.inspections.checks import CHECKED as OF_INSPECTIONS
from app.services.inspections.checks import inspection_problems
from app.services.kept import SUPPOSED
from app.services.own import entry_row
from app.services.planning.days import plan_problems
from app.services.roomlog import Recorded, record_decided, said
from app.services.standing import standing_problems
from app.services.supplies.stock import item_problems, stock_problems
from app.services.swaps.checks import swap_problems
from app.services.swaps.drained import drained_problems
from app.services.things import refresh_things
from app.services.waste import waste_problems
from app.store.engine import Store
from app.store.instants import from_us
from app.store.tables import EntryRow, RoomRow

NOBODY = "-"  # no entry has this id: what is only supposed to be taken back
Check = Callable[[Session, RoomRow, Any, datetime], list[FieldError]]


def _stock(session: Session, room: RoomRow, entry: StockEntry, now: datetime) -> list[FieldError]:
    assert room.id is not None
    return stock_problems(session, room.id, entry, now)


def _curing(session: Session, room: RoomRow, entry: Entry, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return entry_problems(session, room.id, entry)


def _wash(session: Session, room: RoomRow, entry: Wash, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return held_problems(session, room.id, [entry]) or drained_problems(session, room.id, entry)


def _bath(session: Session, room: RoomRow, entry: Entry, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return drained_problems(session, room.id, entry)


def _removal(session: Session, room: RoomRow, entry: Removal, now: datetime) -> list[FieldError]:
    return swap_problems(session, room, entry, now) or _bath(session, room, entry, now)


def _release(session: Session, room: RoomRow, entry: Released, _: datetime) -> list[FieldError]:
    assert room.id is not None
    return release_problems(session, room.id, entry)


CHECKS: Mapping[type[Entry], Check] = {
    **dict.fromkeys(KINDS_OF_WASTE, waste_problems),
    **{kind: _stock for kind in KINDS_OF_SUPPLIES if issubclass(kind, StockEntry)},
    Item: item_problems,
    **dict.fromkeys(KINDS_OF_CURING, _curing),
    Wash: _wash,
    **dict.fromkeys((TopUp, Reading, Swap), _bath),
    Removal: _removal,
    **dict.fromkeys((TankReleased, StationReleased), _release),
    **dict.fromkeys(KINDS_OF_PLANNING, plan_problems),
    **dict.fromkeys((*KINDS_OF_CHECKLISTS, *KINDS_OF_CONTENTS, SwapAbandoned), swap_problems),
    **dict.fromkeys(OF_INSPECTIONS, inspection_problems),
}


def problems_of(session: Session, room: RoomRow, entry: Entry, now: datetime) -> list[FieldError]:
    """Why the room as it stands refuses an entry.

    A correction is held against the room as it would be without the entry that it replaces, and
    refused for what it makes worse: what the original would be refused for as well, with the same
    value in the same field, is no doing of the correction (its drum may have been shipped since).
    So each check fits a correction.
    """
    check = CHECKS.get(type(entry))
    if check is None:
        return []
    if not entry.corrects:
        return check(session, room, entry, now)
    row = entry_row(session, room.id or 0, entry.corrects)
    if row is None or row.voided_by is not None or row.kind != entry.kind:
        return []  # said where it is stored
    old = entry_of(row)
    with _without(session, room, row):
        found, before = check(session, room, entry, now), check(session, room, old, now)
    known = {(one.field, one.message) for one in before}

    def stood(one: FieldError) -> bool:
        is_same = getattr(entry, one.field, None) == getattr(old, one.field, None)
        return is_same and (one.field, one.message) in known

    return [one for one in found if not stood(one)]


@contextmanager
def _without(session: Session, room: RoomRow, row: EntryRow) -> Iterator[None]:
    """The books of the room as they would be had an entry never been said; put back afterwards."""
    assert room.id is not None
    with session.begin_nested() as supposed:
        session.info[SUPPOSED] = True
        try:
            row.voided_by = NOBODY
            session.flush()
            word = Withdrawal(at=from_us(row.at_us), withdraws=row.uid)
            refresh_things(session, room.id, [word])
            yield
        finally:
            del session.info[SUPPOSED]
            supposed.rollback()


def record_checked(
    store: Store,
    room: str,
    entries: Sequence[Entry],
    now: datetime,
    submission: str | None = None,
    by: str | None = None,
) -> Recorded:
    """Store entries, each held against the room as it stood before the first of them.

    `by` is who does this; where it is left out, whom each entry names.

    Raises:
        FieldErrors: one does not fit; of several its place is named. Nothing is stored.
        Conflict: it takes back or replaces what stands; or as `roomlog.record`.
        NotFound: as `roomlog.record`.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        known = stored_ids(session, row.id, [entry.id for entry in entries])
        gone = frozenset(entry.withdraws for entry in entries if isinstance(entry, Withdrawal))
        for place, entry in enumerate(entries):
            if entry.id in known:
                continue  # it is skipped, whatever has become of the room since
            who = entry.by if by is None else by
            found = standing_problems(session, row.id, entry, who, now, gone)
            if any(one.field == "withdraws" for one in found):
                raise Conflict(" ".join(one.message for one in found))
            if found := found + problems_of(session, row, entry, now):
                raise FieldErrors(found, place)
        return entries

    content = {"entries": [[*said(entry, now), entry.id, entry.corrects] for entry in entries]}
    return record_decided(store, room, decide, content, now, submission)


def withdraw_checked(
    store: Store, room: str, word: Withdrawal, submission: str | None = None
) -> Recorded:
    """Take an entry back, unless it stands until it is lifted in another way.

    Raises:
        Conflict: it stands so, or was taken back before.
    """
    return record_checked(store, room, [word], word.at, submission)
