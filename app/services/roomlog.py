"""Recording entries of the room log: one at a time, many at once, corrected, withdrawn."""

import json
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlalchemy import insert, update
from sqlmodel import Session, select

from app.domain.errors import Conflict, FieldError, FieldErrors, NotFound
from app.domain.roomlog.checks import RoomContext, misfits
from app.domain.roomlog.history import moment, rank
from app.domain.roomlog.kinds import KINDS, Entry, Withdrawal
from app.domain.roomlog.lines import own_fields
from app.services.baths.board import refresh_levels
from app.services.baths.levels import tanks_of_swaps
from app.services.baths.projection import Progress, project
from app.services.definitions import context
from app.services.entries import Place, place_of, stored_ids
from app.services.rooms import find_room
from app.services.spend.keeping import keep_spend
from app.services.things import refresh_things
from app.services.transaction import once, write
from app.store.engine import Store
from app.store.instants import maybe_us, to_us
from app.store.sessions import reading
from app.store.tables import EntryRow, PersonRow, RoomRow, SubmissionRow


@dataclass(frozen=True)
class Recorded:
    """What a submission stored.

    Attributes:
        ids: the stored entries, in the order given.
        skipped: how many were there already, by their id.
        is_replayed: the submission was a retry; nothing was stored a second time.
    """

    ids: tuple[str, ...]
    skipped: int = 0
    is_replayed: bool = False


def record(
    store: Store,
    room: str,
    entries: Sequence[Entry],
    now: datetime,
    submission: str | None = None,
    progress: Progress | None = None,
) -> Recorded:
    """Store entries and bring the estimates up to date, all or nothing.

    An entry whose id is stored already is skipped; one with `corrects` replaces another; a
    `Withdrawal` takes one back. Late entries give what the right order would have given.

    Raises:
        FieldErrors: an entry does not fit the room; of several, the first is named.
        Conflict: it corrects what was corrected or withdrawn before, or the submission key was
            used for other content.
        NotFound: there is no such room, or no entry to correct.
    """
    with write(store, room) as session:
        row = _locked_room(session, room)
        content = {"room": room, "entries": [_stored(entry, now) for entry in entries]}

        def do() -> dict[str, Any]:
            return _record(session, store, row, entries, now, progress)

        answer = once(session, submission and f"{room}/{submission}", content, now, do)
    return Recorded(tuple(answer["ids"]), answer["skipped"], bool(answer.get("is_replayed")))


Decide = Callable[[Session, RoomRow], Sequence[Entry]]


def record_decided(
    store: Store,
    room: str,
    decide: Decide,
    content: Mapping[str, Any],
    now: datetime,
    submission: str | None = None,
) -> Recorded:
    """Store the entries that `decide` makes of the room as it stands inside the transaction.

    Nobody can change the room between the look and the writing. `content` is what was sent: a
    retry with the same submission key and content gives the first answer, without deciding anew.

    Raises:
        FieldErrors, Conflict, NotFound: as `record`, or as `decide` raises them; nothing is stored.
    """
    with write(store, room) as session:
        row = _locked_room(session, room)

        def do() -> dict[str, Any]:
            return _record(session, store, row, decide(session, row), now, None)

        sent = {"room": room, **content}
        answer = once(session, submission and f"{room}/{submission}", sent, now, do)
    return Recorded(tuple(answer["ids"]), answer["skipped"], bool(answer.get("is_replayed")))


def recorded_before(store: Store, room: str, submission: str) -> Recorded | None:
    """What a submission stored, where it was carried out before."""
    with reading(store) as session:
        seen = session.get(SubmissionRow, f"{room}/{submission}")
        if seen is None:
            return None
        answer = json.loads(seen.answer)
    return Recorded(tuple(answer["ids"]), answer["skipped"], is_replayed=True)


def withdraw(
    store: Store,
    room: str,
    entry_id: str,
    by: str,
    note: str,
    now: datetime,
    submission: str | None,
) -> Recorded:
    """Take an entry back: it stays in the history and no longer counts."""
    entry = Withdrawal(at=now, by=by, note=note, withdraws=entry_id)
    return record(store, room, [entry], now, submission)


def _locked_room(session: Session, key: str) -> RoomRow:
    """The room, held against other writers (SQLite holds the whole database already)."""
    room_id = find_room(session, key).id
    return session.exec(select(RoomRow).where(RoomRow.id == room_id).with_for_update()).one()


@dataclass(frozen=True)
class Touched:
    """What new entries touch: the earliest place at which an estimate of a bath may change."""

    bath_place: Place | None


def _record(
    session: Session,
    store: Store,
    room: RoomRow,
    entries: Sequence[Entry],
    now: datetime,
    progress: Progress | None,
) -> dict[str, Any]:
    assert room.id is not None
    known = stored_ids(session, room.id, [entry.id for entry in entries])
    fresh = _without_doubles(entries, known)
    _check_fit(entries, fresh, context(session, room.id), now)
    fresh = [entry if entry.id else replace(entry, id=uuid.uuid4().hex) for entry in fresh]
    touched = _insert(session, room, fresh, now, progress)
    if fresh:
        room.version += 1
        room.last_recorded_us = to_us(now)
        if touched.bath_place is not None:
            project(session, store, room, touched.bath_place, fresh, now, progress)
        refresh_things(session, room.id, fresh, progress)
        swapped = tanks_of_swaps(session, room.id, fresh)
        refresh_levels(session, store, room, swapped, now)
        keep_spend(session, room, fresh, touched.bath_place)
        _remember_people(session, room.id, fresh, now)
    return {"ids": [entry.id for entry in fresh], "skipped": len(entries) - len(fresh)}


def _without_doubles(entries: Sequence[Entry], known: set[str]) -> list[Entry]:
    seen = set(known)
    fresh = []
    for entry in entries:
        if entry.id and entry.id in seen:
            continue
        seen.add(entry.id)
        fresh.append(entry)
    return fresh


def _check_fit(
    given: Sequence[Entry], fresh: Sequence[Entry], room: RoomContext, now: datetime
) -> None:
    for entry in fresh:
        room.learn(entry)
    for entry in fresh:
        if errors := misfits(entry, room, now):
            raise FieldErrors(errors, next(i for i, item in enumerate(given) if item is entry))


def _insert(
    session: Session,
    room: RoomRow,
    entries: Sequence[Entry],
    now: datetime,
    progress: Progress | None,
) -> Touched:
    """Append the entries."""
    places: list[Place] = []
    rows: list[dict[str, Any]] = []
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
                _flush(session, rows)
            old = _void(session, room, target, entry)
            if KINDS[old.kind].concerns_bath:
                places.append(place_of(old))
            if not isinstance(entry, Withdrawal):
                row["sequence"] = old.sequence  # a tie stays where it was
        if entry.concerns_bath and not isinstance(entry, Withdrawal):
            places.append(Place(row["moment_us"], row["rank"], row["sequence"]))
        rows.append(row)
        if progress is not None and len(rows) % 2000 == 0:
            progress("Storing", sequence - room.sequence, len(entries))
    _flush(session, rows)
    room.sequence = sequence
    return Touched(min(places, default=None))


def _flush(session: Session, rows: list[dict[str, Any]]) -> None:
    if rows:
        session.execute(insert(EntryRow), rows)
        rows.clear()


def _void(session: Session, room: RoomRow, target: str, by: Entry) -> EntryRow:
    """Mark the entry that `by` replaces or withdraws."""
    old = session.exec(
        select(EntryRow).where(EntryRow.room_id == room.id, EntryRow.uid == target)
    ).first()
    if old is None:
        raise NotFound(f"There is no entry “{target}” to correct.")
    if old.voided_by is not None:
        raise Conflict("This entry was already corrected or withdrawn. Load the page again.")
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


def _stored(entry: Entry, now: datetime) -> list[Any]:
    """What makes submissions the same; a time that is just now was no part of what was sent."""
    at = "now" if entry.at == now else entry.at.isoformat()
    header = [entry.kind, entry.id, at, entry.by, entry.note, entry.corrects]
    return [*header, own_fields(entry)]


def said(entry: Entry, now: datetime) -> list[Any]:
    """What was said in an entry, whoever gives it its id; a time that is just now was not said."""
    at = "now" if entry.at == now else entry.at.isoformat()
    return [entry.kind, at, entry.by, entry.note, own_fields(entry)]


def _remember_people(
    session: Session, room_id: int, entries: Sequence[Entry], now: datetime
) -> None:
    for name in {entry.by for entry in entries if entry.by}:
        session.merge(PersonRow(room_id=room_id, name=name, last_at_us=to_us(now)))
