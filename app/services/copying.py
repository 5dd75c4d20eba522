"""Copying a room into another database: whole and verified, or not at all.

The log and what else people said of the room is copied; all that follows from the log is worked out
anew there. All of a room is one transaction, and its photos are on the disk before that stands.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from app.domain.errors import Conflict, DomainError
from app.services.appending import append_as_stored
from app.services.chaining import chain_begun
from app.services.changes import Progress
from app.services.projections import rebuild
from app.services.transaction import write
from app.services.verifying import verify
from app.store import chain
from app.store.backups import photos_in
from app.store.chain_tables import ChainRow
from app.store.deleting import free_number
from app.store.engine import Store
from app.store.import_tables import ImportPartRow, ImportRow
from app.store.imports import RUNNING, open_imports
from app.store.photos import ORIGINAL, SIZES, SUMS, Photos, file_of
from app.store.tables import EntryRow, PersonRow, RoomRow, SubmissionRow

NOTHING = "Nothing was copied."


@dataclass(frozen=True)
class Place:
    """A database, and where its photos lie."""

    store: Store
    photos: Photos


@dataclass(frozen=True)
class Copied:
    """What was copied of a room.

    Attributes:
        entries, digest: of its log, the same at both places.
        photos: how many; `lost` of those that the log names were not whole at the source.
    """

    entries: int
    digest: bytes
    photos: int
    lost: int


def copy_room(
    session: Session, source: Place, target: Place, room: RoomRow, now: datetime,
    progress: Progress | None = None,
) -> Copied:  # fmt: skip
    """Copy a room as `session` sees it, which reads one moment of the source.

    Raises:
        Conflict: the target has a room of this key or name, or an import goes on in the source.
        DomainError: the log is not what was stored, here or, copied, there; nothing is copied.
    """
    room_id = room.id or 0
    if any(row.state in RUNNING for row in open_imports(session, room_id)):
        raise Conflict(f"An import is running in {room.key}. Wait for it, or stop it. {NOTHING}")
    walked = verify(session, room, progress=progress)
    if walked.wrong:
        raise DomainError(f"The log of {room.key} is not what was stored. {walked.wrong} {NOTHING}")
    end = chain.chain_of(session, room_id)
    with write(target.store) as there:
        _refuse_what_is_there(there, room)
        number = free_number(there) if target.store.is_sqlite else None
        made = RoomRow(**room.model_dump(exclude={"id"}), id=number)
        there.add(made)
        there.flush()
        named = set[str]()
        if end is not None:
            named = _copy_log(session, there, room, made, end, progress)
        _copy_rest(session, there, room_id, made)
        rebuild(there, target.store, made, now, progress)
        lost = _copy_photos(source.photos, target.photos, sorted(named), progress)
        _hold_against(there, made, walked.count, end, progress)
    digest = b"" if end is None else bytes(end.digest)
    return Copied(walked.count, digest, len(named) - lost, lost)


def _refuse_what_is_there(there: Session, room: RoomRow) -> None:
    query = select(RoomRow).where((RoomRow.key == room.key) | (RoomRow.name == room.name))
    if there.exec(query).first() is not None:
        raise Conflict(f"The target already has a room “{room.name}” ({room.key}). {NOTHING}")


def _copy_log(
    session: Session, there: Session, room: RoomRow, made: RoomRow, end: ChainRow,
    progress: Progress | None,
) -> set[str]:  # fmt: skip
    """Copy all rows of the log; the photos that they name."""
    named = set[str]()

    def rows() -> Iterator[dict[str, Any]]:
        for count, row in enumerate(chain.rows_of(session, room.id or 0), 1):
            named.update(photos_in(row["fields"]))
            if progress is not None and count % chain.PAGE == 0:
                progress("Copying", count, end.number)
            yield row

    append_as_stored(chain_begun(there, made, end.since_us, end.before), rows())
    return named


def _copy_rest(session: Session, there: Session, room_id: int, made: RoomRow) -> None:
    """Copy names, submissions that count once, and what is known of imports."""
    assert made.id is not None
    for person in session.exec(select(PersonRow).where(PersonRow.room_id == room_id)):
        there.add(PersonRow(**person.model_dump(exclude={"room_id"}), room_id=made.id))
    own = col(SubmissionRow.key).startswith(f"{made.key}/", autoescape=True)
    for sent in session.exec(select(SubmissionRow).where(own)):
        there.merge(SubmissionRow(**sent.model_dump()))
    here, new = _numbers(session, room_id), _numbers(there, made.id)
    known: dict[int | None, int | None] = {None: None}
    runs = select(ImportRow).where(ImportRow.room_id == room_id).order_by(col(ImportRow.id))
    for run in session.exec(runs):
        values = run.model_dump(exclude={"id", "room_id", "undoes"})
        row = ImportRow(**values, room_id=made.id, undoes=known[run.undoes])
        there.add(row)
        there.flush()
        known[run.id] = row.id
        parts = select(ImportPartRow).where(ImportPartRow.import_id == run.id)
        for part in session.exec(parts):
            first, last = bisect_left(here, part.first_id), bisect_right(here, part.last_id)
            if first < last:
                there.add(ImportPartRow(
                    import_id=row.id or 0, first_id=new[first], last_id=new[last - 1]
                ))  # fmt: skip


def _numbers(session: Session, room_id: int) -> Sequence[int]:
    query = select(EntryRow.id).where(EntryRow.room_id == room_id).order_by(col(EntryRow.id))
    return [number for number in session.exec(query) if number is not None]


def _copy_photos(
    source: Photos, target: Photos, named: Sequence[str], progress: Progress | None
) -> int:
    """Copy the files of photos, each held against its digest; how many are lost at the source.

    Raises:
        DomainError: a file is not what it should be once it is copied.
    """
    lost = 0
    for count, digest in enumerate(named, 1):
        if progress is not None:
            progress("Photos", count, len(named))
        if any(source.sound(digest, size) is None for size in SIZES):
            lost += 1
            continue
        if source.files.place != target.files.place:
            _copy_photo(source, target, digest)
        if any(target.sound(digest, size) is None for size in SIZES):
            raise DomainError(f"The photo {digest[:12]} is incomplete in the target. {NOTHING}")
    return lost


def _copy_photo(source: Photos, target: Photos, digest: str) -> None:
    for size in (ORIGINAL, *SIZES, SUMS):
        content = source.files.read(file_of(digest, size))
        if content is not None and not target.has_file(digest, size):
            target.write(digest, size, content)


def _hold_against(
    there: Session, made: RoomRow, count: int, end: ChainRow | None, progress: Progress | None
) -> None:
    """Walk along the copied log, and hold its end against that of the source.

    Raises:
        DomainError: a row is not what it was.
    """
    there.flush()
    walked = verify(there, made, progress=progress)
    copied = chain.chain_of(there, made.id or 0)
    is_same = (copied is None) == (end is None)
    if copied is not None and end is not None:
        is_same = (copied.number, bytes(copied.digest)) == (end.number, bytes(end.digest))
    if walked.wrong or walked.count != count or not is_same:
        raise DomainError(f"The copy of {made.key} is not the same. {walked.wrong} {NOTHING}")
