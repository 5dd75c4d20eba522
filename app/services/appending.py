"""Appending to the log: rows of `entry`, each with its link in the chain, and marks on old ones.

Nobody but the door appends (tests/contracts/test_door.py).
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from datetime import datetime
from itertools import islice
from typing import Any

from sqlalchemy import insert, update
from sqlmodel import Session, select

from app.domain.chain import COVERED
from app.domain.errors import Conflict, FieldError, FieldErrors, NotFound
from app.domain.roomlog.history import moment, rank
from app.domain.roomlog.kinds import KINDS, Entry, Withdrawal
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.lines import own_fields
from app.services.books import refresh_books
from app.services.caching import SUPPOSED
from app.services.chaining import Chain, chain_to_extend
from app.services.changes import Progress
from app.services.currency import name_currency
from app.services.entries import Place, place_of
from app.store.instants import from_us, maybe_us, to_us
from app.store.remembering import WritingSession
from app.store.room_photos import note_named
from app.store.tables import EntryRow, RoomRow

AT_ONCE = 2000
NOBODY = "-"  # no entry has this id: what is only supposed to be taken back


def append(
    session: Session,
    room: RoomRow,
    entries: Sequence[Entry],
    now: datetime,
    progress: Progress | None,
) -> Place | None:
    """Append entries, and mark what they replace or withdraw.

    Gives the earliest place at which the estimate of a bath may change; None where none does.

    Raises:
        Conflict: one replaces what was corrected or withdrawn before, or what others need.
        NotFound: there is nothing to replace.
    """
    if not entries:
        return None
    chain = chain_to_extend(session, room, now)
    places: list[Place] = []
    rows: list[dict[str, Any]] = []
    kinds = {entry.kind for entry in entries}
    given = {entry.id: entry for entry in entries}
    sequence = room.sequence
    sequences: dict[str, int] = {}
    for entry in entries:
        sequence += 1
        sequences[entry.id] = sequence
        row = _row(room, entry, sequence, now)
        target = entry.withdraws if isinstance(entry, Withdrawal) else entry.corrects
        if target:
            if target in given:
                _flush(chain, rows)
            old = _void(session, room, target, entry)
            kinds.add(old.kind)
            if KINDS[old.kind].concerns_bath:
                places.append(place_of(old))
            if not isinstance(entry, Withdrawal):
                row["sequence"] = old.sequence  # a tie stays where it was
        if entry.concerns_bath:
            places.append(Place(row["moment_us"], row["rank"], row["sequence"]))
        rows.append(row)
        if progress is not None and len(rows) % 2000 == 0:
            progress("Storing", sequence - room.sequence, len(entries))
    _flush(chain, rows)
    room.sequence = sequence
    if PriceList.kind in kinds:
        name_currency(session, room)
    return min(places, default=None)


def append_as_stored(chain: Chain, rows: Iterable[Mapping[str, Any]]) -> int:
    """Append the rows of another database as they are, marks included; how many.

    Of each row the columns that are covered and `voided_by` are taken (domain/chain).
    """
    count = 0
    rest = iter(rows)
    while some := [_as_stored(row, chain.end.room_id) for row in islice(rest, AT_ONCE)]:
        _flush(chain, some)
        count = chain.end.number
    return count


def _as_stored(row: Mapping[str, Any], room_id: int) -> dict[str, Any]:
    return {name: row[name] for name in (*COVERED, "voided_by")} | {"room_id": room_id}


def _flush(chain: Chain, rows: list[dict[str, Any]]) -> None:
    if rows:
        chain.session.execute(insert(EntryRow.__table__), rows)  # type: ignore[attr-defined]
        chain.link(rows)
        note_named(chain.session, chain.end.room_id, (row["fields"] for row in rows))
        rows.clear()


def _void(session: Session, room: RoomRow, target: str, by: Entry) -> EntryRow:
    """Mark the entry that `by` replaces or withdraws."""
    old = session.exec(
        select(EntryRow).where(EntryRow.room_id == room.id, EntryRow.uid == target)
    ).first()
    if old is None:
        raise NotFound(f"There is no entry “{target}” to correct.")
    if old.voided_by is not None:
        raise Conflict("This entry was already corrected or withdrawn. Reload the page.")
    if isinstance(by, Withdrawal):
        _check_withdrawal(session, old)
    elif by.kind != old.kind:
        raise FieldErrors([FieldError("kind", f"A {old.kind} cannot become a {by.kind}.")])
    session.execute(update(EntryRow).where(EntryRow.id == old.id).values(voided_by=by.id))  # type: ignore[arg-type]
    return old


def _check_withdrawal(session: Session, old: EntryRow) -> None:
    if old.kind in ("tank", "resin"):
        column = EntryRow.tank if old.kind == "tank" else EntryRow.resin
        key = old.tank if old.kind == "tank" else old.resin
        others = session.exec(
            select(EntryRow.id).where(
                EntryRow.room_id == old.room_id, column == key, EntryRow.id != old.id,
                EntryRow.voided_by.is_(None),  # type: ignore[union-attr]
            ).limit(1)
        ).first()  # fmt: skip
        if others is not None:
            raise Conflict(f"Other entries need this {old.kind}. Correct it instead.")
    if old.kind == "withdrawal":
        raise Conflict("A withdrawal cannot be withdrawn. Enter the entry again.")


def _row(room: RoomRow, entry: Entry, sequence: int, now: datetime) -> dict[str, Any]:
    return {
        "room_id": room.id,
        "uid": entry.id,
        "kind": entry.kind,
        "tank": getattr(entry, "tank", None),
        "resin": getattr(entry, "resin", None),
        "at_us": to_us(entry.at),
        "moment_us": to_us(moment(entry)),
        "rank": rank(entry),
        "sequence": sequence,
        "entered_at_us": maybe_us(entry.entered_at),
        "recorded_at_us": to_us(now),
        "by": entry.by,
        "note": entry.note,
        "corrects": entry.corrects or None,
        "fields": json.dumps(own_fields(entry), separators=(",", ":")),
        "voided_by": None,
    }


@contextmanager
def without(session: Session, room: RoomRow, row: EntryRow) -> Iterator[None]:
    """The books of the room as they would be had an entry never been said; put back afterwards."""
    assert room.id is not None
    try:
        with session.begin_nested() as supposed, supposing(session):
            try:
                row.voided_by = NOBODY
                session.flush()
                word = Withdrawal(at=from_us(row.at_us), withdraws=row.uid)
                refresh_books(session, room.id, [word])
                yield
            finally:
                supposed.rollback()
    finally:
        session.refresh(row)  # a page reads it once its session has ended


@contextmanager
def left_out(session: Session, room: RoomRow, row: EntryRow) -> Iterator[None]:
    """The room without an entry, as the door looks at it. A page, which only reads, sees it with
    it: a read that is upgraded to a write may fail half way, and the door looks again."""
    if not isinstance(session, WritingSession):
        yield
        return
    with without(session, room, row):
        yield


@contextmanager
def supposing(session: Session) -> Iterator[None]:
    """Keep no answers meanwhile: what is read is not, or not yet, what stands."""
    before = session.info.get(SUPPOSED, False)
    session.info[SUPPOSED] = True
    try:
        yield
    finally:
        session.info[SUPPOSED] = before
