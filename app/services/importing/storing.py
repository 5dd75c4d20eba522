"""Storing what is brought in a slice at a time, so that everybody else goes on in between.

Each slice is a write of its own. How far it is stands in the database: a run that breaks off is
gone on with by giving the same file again, and what is in already can be taken back in one go.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime

from sqlmodel import Session, select

from app.domain.errors import Conflict, DomainError
from app.domain.roomlog.checks import RoomContext
from app.domain.roomlog.kinds import Entry
from app.services.archiving import require_in_use
from app.services.backlog import fall_behind, last_entry_id
from app.services.catching_up import Clock, TakenOver, Work, catch_up, new_owner
from app.services.changes import Progress
from app.services.door import bring_in_slice
from app.services.importing.standing import lifting
from app.services.importing.under_way import refused_lines
from app.services.rooms import find_room
from app.services.transaction import write, write_in_turn
from app.store.engine import Store
from app.store.import_tables import ImportPartRow, ImportRow
from app.store.imports import RUNNING, find_import, is_quiet, open_imports
from app.store.instants import to_us
from app.store.sessions import reading
from app.store.tables import RoomRow

SLICE = 250  # entries in one write: about as long as a few washes


class Stopped(DomainError):
    """Somebody stopped it, or the room changed under it; what is in can be taken back."""


@dataclass(frozen=True)
class Origin:
    """Where entries come from.

    Attributes:
        token: what the import is called; made up where it is empty.
        name: of the file.
        digest: of the file and how it was read: the same again goes on with what broke off.
        undoes: the import that is taken back with these entries; None where a log comes in.
        changed: how many of them correct earlier entries.
        kept, message: of an import that is taken back, what stays, and why.
        told: ids of what the room has already that a file tells of; None where no log comes in.
        is_led: a lead brings it in, or whoever keeps the computer.
    """

    token: str = ""
    name: str = ""
    by: str = ""
    digest: str = ""
    undoes: int | None = None
    changed: int = 0
    kept: int = 0
    message: str = ""
    told: frozenset[str] | None = None
    is_led: bool = False


@dataclass(frozen=True)
class Stored:
    """What an import stored.

    Attributes:
        ids: the entries of this run, in the order given.
        count: all its entries, those of earlier runs as well.
        skipped: how many were there already.
        is_replayed: it was carried out before; nothing was stored a second time.
    """

    ids: tuple[str, ...]
    count: int
    skipped: int = 0
    is_replayed: bool = False
    token: str = ""


@dataclass
class _Run:
    """One run of an import."""

    work: Work
    row_id: int
    token: str
    known: RoomContext
    ids: list[str] = field(default_factory=list)

    def slice(self, entries: Sequence[Entry]) -> int:
        """Store some entries; how many of the import are in then.

        Raises:
            Stopped: somebody asked for it.
            TakenOver: another run goes on with it.
        """
        now = self.work.clock()
        with write_in_turn(self.work.store) as session:
            room = _locked(session, self.work.room)
            row = self.own(session)
            if row.state == "stopping":
                raise Stopped(_how_far(row))
            fall_behind(session, room, self.work.owner, now)
            first = last_entry_id(session) + 1
            fresh = bring_in_slice(session, self.work.store, room, entries, self.known, now)
            if fresh:
                part = ImportPartRow(
                    import_id=self.row_id, first_id=first, last_id=last_entry_id(session)
                )
                session.add(part)
            row.done += len(fresh)
            row.total -= len(entries) - len(fresh)
            row.touched_at_us = to_us(now)
            done = row.done
        self.ids += [entry.id for entry in fresh]
        return done

    def own(self, session: Session) -> ImportRow:
        """The import as it stands.

        Raises:
            TakenOver: another run goes on with it.
        """
        row = session.get(ImportRow, self.row_id, populate_existing=True)
        if row is None or row.owner != self.work.owner:
            raise TakenOver("Another run is already doing this import.")
        return row

    def end(self, state: str, message: str = "") -> int:
        """Note that this run is over; one that stored nothing leaves nothing."""
        with write_in_turn(self.work.store, self.work.room) as session:
            room = _locked(session, self.work.room)
            row = self.own(session)
            room.version += 1
            row.touched_at_us = to_us(self.work.clock())
            if state == "stopped" and row.done == 0:
                session.delete(row)
                return 0
            row.state, row.message = state, message or row.message
            if row.undoes is not None and state == "stored":
                undone = session.get(ImportRow, row.undoes, populate_existing=True)
                if undone is not None:
                    undone.state = "undone"
            return row.done


def store_in_slices(
    store: Store,
    room: str,
    entries: Sequence[Entry],
    origin: Origin,
    clock: Clock,
    progress: Progress | None = None,
) -> Stored:
    """Store entries in slices, then bring the room's figures up to them.

    Raises:
        Stopped: somebody asked it to stop; what is in so far stays, and can be taken back.
        Conflict: another import goes on in the room.
        DomainError: the room has changed, so that an entry no longer fits.
    """
    work = Work(store, room, new_owner(), clock, progress)
    begun = _begin(work, entries, origin)
    if isinstance(begun, Stored):
        return begun
    try:
        for start in range(0, len(entries), SLICE):
            done = begun.slice(entries[start : start + SLICE])
            work.tell("Storing", min(start + SLICE, len(entries)), len(entries))
    except TakenOver:
        raise
    except DomainError as error:
        begun.end("stopped", str(error))
        _follow(work)
        raise
    _follow(work)
    done = begun.end("stored")
    return Stored(tuple(begun.ids), done, token=begun.token)


def _follow(work: Work) -> None:
    """Let the figures follow, where anything waits for them."""
    try:
        catch_up(work)
    except TakenOver:
        return  # whoever took it over sees to it


def ask_to_stop(store: Store, room: str, token: str, now: datetime) -> None:
    """Have an import stop after the slice it is at; one that nobody gets on with is stopped."""
    with write(store, room) as session:
        row = _locked(session, room)
        assert row.id is not None
        found = find_import(session, row.id, token)
        if found is not None and found.state in RUNNING:
            found.state = "stopped" if is_quiet(found, now) else "stopping"
            found.message = _how_far(found)
            row.version += 1


def stop_now(store: Store, room: str, digest: str) -> ImportRow | None:
    """Note that the run of a file ended; None where it has stored nothing, and leaves nothing."""
    with write(store, room) as session:
        row = _locked(session, room)
        assert row.id is not None
        found = next((one for one in open_imports(session, row.id) if one.digest == digest), None)
        if found is None:
            return None
        row.version += 1
        if found.done == 0:
            session.delete(found)
            return None
        found.state, found.message = "stopped", _how_far(found)
        return found


def keep_part(store: Store, room: str, token: str) -> None:
    """Leave what an import that stopped has brought as it is, for good."""
    with write(store, room) as session:
        row = _locked(session, room)
        assert row.id is not None
        found = find_import(session, row.id, token)
        if found is not None and found.state == "stopped":
            found.state = "stored"
            row.version += 1


def stored_before(store: Store, room: str, token: str) -> Stored | None:
    """What an import stored, where it was carried out before."""
    with reading(store) as session:
        row = find_room(session, room)
        assert row.id is not None
        found = find_import(session, row.id, token)
        if found is None or found.state not in ("stored", "undone"):
            return None
        return Stored((), found.done, is_replayed=True, token=token)


def _begin(work: Work, entries: Sequence[Entry], origin: Origin) -> "_Run | Stored":
    now = work.clock()
    known = RoomContext()
    for entry in entries:
        known.learn(entry)
    with write_in_turn(work.store, work.room) as session:
        room = _locked(session, work.room)
        assert room.id is not None
        require_in_use(session, room)
        token = origin.token or work.owner
        row = find_import(session, room.id, token)
        if row is not None and row.state in ("stored", "undone"):
            return Stored((), row.done, is_replayed=True, token=row.token)
        row = row or _to_go_on_with(session, room.id, origin)
        _refuse_others(session, room.id, row, now)
        _refuse_lifts(session, room.id, entries, origin, now)
        if row is None:
            row = ImportRow(
                token=token, room_id=room.id, name=origin.name[:120], digest=origin.digest,
                undoes=origin.undoes, by=origin.by, state="storing", owner=work.owner,
                started_at_us=to_us(now), touched_at_us=to_us(now), total=0,
            )  # fmt: skip
        row.state, row.owner, row.touched_at_us = "storing", work.owner, to_us(now)
        row.total = row.done + len(entries)
        row.changed += origin.changed
        row.kept, row.message = origin.kept, origin.message
        session.add(row)
        fall_behind(session, room, work.owner, now)
        room.version += 1
        session.flush()
        assert row.id is not None
        return _Run(work, row.id, row.token, known)


def _to_go_on_with(session: Session, room_id: int, origin: Origin) -> ImportRow | None:
    """The import of the same file that broke off."""
    if not origin.digest:
        return None
    rows = open_imports(session, room_id)
    return next((row for row in rows if row.digest == origin.digest), None)


def _refuse_others(session: Session, room_id: int, own: ImportRow | None, now: datetime) -> None:
    """One import at a time; what nobody gets on with any more is stopped."""
    for row in open_imports(session, room_id):
        if row.state not in RUNNING or (own is not None and row.id == own.id):
            continue
        if not is_quiet(row, now):
            raise Conflict(
                f"“{row.name}” is being imported: {row.done:,} of {row.total:,}. Wait for it to "
                "finish, or stop it."
            )
        row.state, row.message = "stopped", _how_far(row)


def _refuse_lifts(
    session: Session, room_id: int, entries: Sequence[Entry], origin: Origin, now: datetime
) -> None:
    """What was held or begun since the file was read is left to the people here."""
    if origin.told is None:
        return
    told = origin.told | {entry.id for entry in entries}  # of a run that broke off
    lifts = lifting(session, room_id, dict(enumerate(entries)), told)
    if lifts:
        held = next((one.words for one in lifts if one.words), "who is lead here")
        raise Conflict(f"This is held since the file was read: {held}. Read it again.")
    for _, error in refused_lines(session, room_id, dict(enumerate(entries)), told, now):
        raise Conflict(f"The room has changed since the file was read. {error.message}")


def _how_far(row: ImportRow) -> str:
    return f"Stopped: {row.done:,} of {row.total:,} entries are in."


def _locked(session: Session, key: str) -> RoomRow:
    """The room, held against other writers."""
    room_id = find_room(session, key).id
    query = select(RoomRow).where(RoomRow.id == room_id).with_for_update()
    return session.exec(query.execution_options(populate_existing=True)).one()
