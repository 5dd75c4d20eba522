"""Bringing a room log in from a file: read, checked, shown, and then stored as a whole."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from hashlib import blake2b
from pathlib import Path

from sqlmodel import Session

from app.domain.errors import DomainError, FieldError, FieldErrors
from app.domain.roomlog.checks import RoomContext, misfits
from app.domain.roomlog.kinds import Entry, Resin, Tank
from app.domain.roomlog.kinds.spending import PriceList
from app.domain.roomlog.lines import parse_entry, parse_line
from app.domain.roomlog.table import TableForm, mapping_of
from app.services.catching_up import Clock
from app.services.changes import Progress
from app.services.definitions import context
from app.services.importing.chains import broken_links, in_order
from app.services.importing.deciding import (
    archivings,
    decided,
    has_own_entries,
    require_led,
    undecided,
)
from app.services.importing.forbidden import forbidden_now
from app.services.importing.holding import holds_for
from app.services.importing.matching import matched
from app.services.importing.previews import Draft, Preview, odd_figures, preview_of
from app.services.importing.standing import lifting
from app.services.importing.storing import Origin, Stored, store_in_slices
from app.services.importing.tables import TableOptions, table_form
from app.services.importing.textfiles import TextFile, UnreadableFile, examine, lines, rows
from app.services.importing.under_way import refused_lines
from app.services.inspections.belonging import foreign_photos
from app.services.rooms import find_room
from app.services.spend.price_book import currency_problems
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import RoomRow

PROGRESS_EVERY = 2000
MOST_BAD_LINES = 50_000


@dataclass(frozen=True)
class Checked:
    """A file that was read and checked against the room, ready to be stored.

    Attributes:
        digest: of the file and how it was read.
        told: ids of what the room has already that the file tells of again.
    """

    entries: tuple[Entry, ...]
    preview: Preview
    digest: str
    told: frozenset[str] = frozenset()


class BadLines(DomainError):
    """The file has lines that do not fit, and nobody asked to leave them out."""


def check_file(
    store: Store,
    room: str,
    path: Path,
    now: datetime,
    options: TableOptions | None = None,
    progress: Progress | None = None,
) -> Checked:
    """Read a file and hold it against the room; nothing is stored.

    `options` says that it is a table and how to read it; without, each line is JSON.

    Raises:
        UnreadableFile: the file as a whole cannot be read.
        UnclearTable: its dates or numbers can be read in two ways, and nobody said which.
        NotFound: there is no such room.
    """
    file = examine(path)
    with reading(store) as session:
        row = find_room(session, room)
        assert row.id is not None
        form = table_form(session, row, file, options) if options is not None else None
        draft = _read(file, form, progress)
        known = context(session, row.id)
        new_tanks, new_resins = _check_fit(draft, known, now)
        _skip_doubles(draft)
        _match(draft, session, row.id)
        _check_currency(draft, session, row, now)
        _check_holds(draft, session, row.id)
        _check_people(draft, session, row, now)
        draft.decided = list(decided(session, row.id, draft.entries))
        draft.against = list(forbidden_now(session, row, draft.entries, now))
        draft.holds = holds_for(session, row.id, draft.entries, now)
        draft.odd = odd_figures(session, row, draft.entries)
    entries = tuple(in_order(list(_to_store(draft))))
    preview = preview_of(draft, entries, form, file, new_tanks, new_resins)
    if not entries and not draft.bad and not preview.skipped:
        raise UnreadableFile("The file has no entries.")
    return Checked(entries, preview, _digest(path, options), draft.matched.told)


def store_checked(
    store: Store,
    room: str,
    checked: Checked,
    clock: Clock,
    origin: Origin | None = None,
    skip_bad: bool = False,
    progress: Progress | None = None,
) -> Stored:
    """Store what was checked, in slices; nothing of it where lines do not fit.

    Raises:
        BadLines: lines do not fit and `skip_bad` was not asked for.
        LeadNeeded: lines say what a lead decides here, and no lead brings them in.
        Stopped: somebody asked it to stop.
        DomainError: the room has changed since the check.
    """
    if checked.preview.bad_lines and not skip_bad:
        raise BadLines(f"{_lines(checked.preview.bad_lines)} not fit. Nothing was stored.")
    origin = origin or Origin()
    if checked.preview.decided and not origin.is_led:
        with reading(store) as session:
            require_led(session, find_room(session, room).id or 0)
    origin = replace(
        origin, digest=checked.digest, changed=checked.preview.changed,
        told=checked.told,
    )  # fmt: skip
    done = store_in_slices(store, room, checked.entries, origin, clock, progress)
    return replace(done, skipped=done.skipped + checked.preview.skipped)


def _to_store(draft: Draft) -> Iterator[Entry]:
    """What is stored, line by line, each report followed by what it holds."""
    for line in sorted(draft.entries):
        yield draft.entries[line]
        yield from draft.holds.get(line, ())


def _lines(count: int) -> str:
    return "1 line does" if count == 1 else f"{count:,} lines do"


def _digest(path: Path, options: TableOptions | None) -> str:
    digest = blake2b(repr(options).encode(), digest_size=16)
    with path.open("rb") as file:
        while block := file.read(2**20):
            digest.update(block)
    return digest.hexdigest()


def _read(file: TextFile, form: TableForm | None, progress: Progress | None) -> Draft:
    draft = Draft()
    for line, entry in _table_entries(file, form) if form else _json_entries(file):
        if isinstance(entry, Entry):
            draft.entries[line] = entry
        else:
            draft.reject(line, entry)
            _require_some_sense(draft)
        if progress is not None and line % PROGRESS_EVERY == 0:
            progress("Reading", line, 0)
    return draft


def _require_some_sense(draft: Draft) -> None:
    """Read on only where the file may be what it is said to be.

    Raises:
        UnreadableFile: too many of its lines are not.
    """
    if len(draft.bad) > MOST_BAD_LINES:
        first = draft.errors[0]
        raise UnreadableFile(
            f"More than {MOST_BAD_LINES:,} lines do not fit. The first is line {first.line}: "
            f"{first.message}"
        )


def _json_entries(file: TextFile) -> Iterator[tuple[int, Entry | list[FieldError]]]:
    for line, text in lines(file):
        if text is None:
            yield line, [FieldError("line", "The line is too long for an entry.")]
        elif text.strip():
            try:
                yield line, parse_line(text)
            except FieldErrors as error:
                yield line, error.errors


def _table_entries(
    file: TextFile, form: TableForm
) -> Iterator[tuple[int, Entry | list[FieldError]]]:
    cells = rows(file)
    next(cells, None)
    for line, row in cells:
        if not any(cell.strip() for cell in row):
            continue
        try:
            yield line, parse_entry(mapping_of(row, form))
        except FieldErrors as error:
            yield line, error.errors


def _check_fit(
    draft: Draft, room: RoomContext, now: datetime
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Reject what does not fit the room; the tanks and resins that are new to it."""
    tanks, resins = set(room.tanks), set(room.resins)
    definitions = {k: e for k, e in draft.entries.items() if isinstance(e, Tank | Resin)}
    for entries in (definitions, dict(draft.entries)):
        for line, entry in entries.items():
            if errors := misfits(entry, room, now):
                draft.reject(line, errors)
            else:
                room.learn(entry)
    return tuple(sorted(room.tanks.keys() - tanks)), tuple(sorted(room.resins - resins))


def _skip_doubles(draft: Draft) -> None:
    """Leave lines out that say under the same id what an earlier line says."""
    seen: dict[str, tuple[int, Entry]] = {}
    for line, entry in list(draft.entries.items()):
        if not entry.id:
            continue
        first = seen.setdefault(entry.id, (line, entry))
        if first[0] == line:
            continue
        if first[1] == entry:
            del draft.entries[line]
            draft.doubles += 1
        else:
            message = f"Line {first[0]} already has the id “{entry.id}”, with different values."
            draft.reject(line, [FieldError("id", message)])


def _match(draft: Draft, session: Session, room_id: int) -> None:
    """Leave what the room has already; make corrections of what changed since."""
    draft.matched = matched(session, room_id, draft.entries)
    draft.entries = draft.matched.entries
    for line, error in draft.matched.refused.items():
        draft.reject(line, [error])


def _check_currency(draft: Draft, session: Session, room: RoomRow, now: datetime) -> None:
    """Reject price lists in a currency that the room's amounts would have to be converted to."""
    for line, entry in list(draft.entries.items()):
        if isinstance(entry, PriceList) and (found := currency_problems(session, room, entry, now)):
            draft.reject(line, found)


def _check_links(draft: Draft, session: Session, room_id: int) -> None:
    """Reject corrections and withdrawals that have nothing to act on, until none is left."""
    while found := broken_links(draft.entries, session, room_id):
        for line, error in found:
            draft.reject(line, [error])


def _check_people(draft: Draft, session: Session, room: RoomRow, now: datetime) -> None:
    """Reject lines that do in people's place what they do on a page of its own."""
    assert room.id is not None
    told = draft.matched.told
    for line, error in list(refused_lines(session, room.id, draft.entries, told, now)):
        draft.reject(line, [error])
    if has_own_entries(session, room.id):
        for line, error in list(foreign_photos(session, room.id, draft.entries)):
            draft.reject(line, [error])
    for line, errors in list(archivings(session, room, draft.entries)):
        draft.reject(line, errors)
    for line, errors in list(undecided(session, room, draft.entries, now)):
        draft.reject(line, errors)
    _check_links(draft, session, room.id)


def _check_holds(draft: Draft, session: Session, room_id: int) -> None:
    """Reject lines that would lift what is held here now."""
    for lift in lifting(session, room_id, draft.entries, draft.matched.told):
        draft.lifts += [lift.words] if lift.words else []
        draft.reject(lift.line, [lift.error])
    _check_links(draft, session, room_id)  # what acts on such a line has nothing to act on
