"""Bringing a room log in from a file: read, checked, shown, and then stored as a whole."""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from sqlmodel import Session

from app.domain.errors import DomainError, FieldError, FieldErrors
from app.domain.roomlog.checks import RoomContext, misfits
from app.domain.roomlog.kinds import Entry, Resin, Tank
from app.domain.roomlog.lines import parse_entry, parse_line, to_line
from app.domain.roomlog.table import TableForm, mapping_of
from app.services.baths.projection import Progress
from app.services.definitions import context
from app.services.door import Recorded, bring_in
from app.services.entries import stored_ids
from app.services.importing.chains import broken_links, in_order
from app.services.importing.tables import TableOptions, table_form
from app.services.importing.textfiles import TextFile, UnreadableFile, examine, lines, rows
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.sessions import reading

SHOWN_ERRORS = 100
SHOWN_NAMES = 30
PROGRESS_EVERY = 2000


@dataclass(frozen=True)
class LineError:
    """What is wrong with one line of the file."""

    line: int
    field: str
    message: str


@dataclass(frozen=True)
class Preview:
    """What an import would store.

    Attributes:
        kinds, tanks: number of entries by kind and by tank.
        new_tanks, new_resins: keys that the room does not know yet.
        first_at, last_at: the span of time; None where nothing is left to store.
        skipped: entries whose id the room, or an earlier line, has already.
        unknown_fields: names of fields that are kept but mean nothing here.
        errors: the first of the errors, `bad_lines` counts the lines that have any.
        form: how a table was read; None for JSON Lines.
        is_guessed_encoding: the file was no Unicode; look at its special letters.
    """

    entries: int
    kinds: Mapping[str, int]
    tanks: Mapping[str, int]
    new_tanks: tuple[str, ...]
    new_resins: tuple[str, ...]
    first_at: datetime | None
    last_at: datetime | None
    skipped: int
    unknown_fields: tuple[str, ...]
    errors: tuple[LineError, ...]
    bad_lines: int
    form: TableForm | None
    is_guessed_encoding: bool


@dataclass(frozen=True)
class Checked:
    """A file that was read and checked against the room, ready to be stored."""

    entries: tuple[Entry, ...]
    preview: Preview


@dataclass
class _Draft:
    """What was found so far, by line."""

    entries: dict[int, Entry] = field(default_factory=dict)
    errors: list[LineError] = field(default_factory=list)
    bad: set[int] = field(default_factory=set)
    skipped: int = 0

    def reject(self, line: int, errors: Sequence[FieldError]) -> None:
        self.bad.add(line)
        self.entries.pop(line, None)
        for error in errors:
            if len(self.errors) < SHOWN_ERRORS:
                self.errors.append(LineError(line, error.field, error.message))


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
        NotFound: there is no such room.
    """
    file = examine(path)
    with reading(store) as session:
        row = find_room(session, room)
        assert row.id is not None
        form = table_form(session, row, file, options) if options is not None else None
        draft = _read(file, form, progress)
        _name(draft)
        known = context(session, row.id)
        new_tanks, new_resins = _check_fit(draft, known, now)
        _skip_doubles(draft, session, row.id)
        _check_links(draft, session, row.id)
    if not draft.entries and not draft.bad and not draft.skipped:
        raise UnreadableFile("The file holds no entries.")
    entries = tuple(in_order(list(draft.entries.values())))
    preview = _preview(draft, entries, form, file, new_tanks, new_resins)
    return Checked(entries, preview)


def store_checked(
    store: Store,
    room: str,
    checked: Checked,
    now: datetime,
    submission: str | None = None,
    skip_bad: bool = False,
    progress: Progress | None = None,
) -> Recorded:
    """Store what was checked, all or nothing.

    Raises:
        BadLines: lines do not fit and `skip_bad` was not asked for.
        DomainError: the room has changed since the check.
    """
    if checked.preview.bad_lines and not skip_bad:
        raise BadLines(f"{_lines(checked.preview.bad_lines)} not fit. Nothing was stored.")
    done = bring_in(store, room, checked.entries, now, submission, progress)
    return Recorded(done.ids, done.skipped + checked.preview.skipped, done.is_replayed)


def _lines(count: int) -> str:
    return "1 line does" if count == 1 else f"{count:,} lines do"


def _read(file: TextFile, form: TableForm | None, progress: Progress | None) -> _Draft:
    draft = _Draft()
    for line, entry in _table_entries(file, form) if form else _json_entries(file):
        if isinstance(entry, Entry):
            draft.entries[line] = entry
        else:
            draft.reject(line, entry)
        if progress is not None and line % PROGRESS_EVERY == 0:
            progress("Reading", line, 0)
    return draft


def _name(draft: _Draft) -> None:
    """Give entries without an id one that the same line gets again.

    So a spreadsheet that has grown can be given again: what is stored already is skipped. Equal
    lines of one file are told apart by their number among each other.
    """
    seen: Counter[str] = Counter()
    for line, entry in draft.entries.items():
        if not entry.id:
            text = to_line(entry)
            seen[text] += 1
            digest = sha256(f"{seen[text]} {text}".encode()).hexdigest()
            draft.entries[line] = replace(entry, id=f"import-{digest[:24]}")


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
    draft: _Draft, room: RoomContext, now: datetime
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


def _skip_doubles(draft: _Draft, session: Session, room_id: int) -> None:
    known = stored_ids(session, room_id, [entry.id for entry in draft.entries.values()])
    seen: dict[str, tuple[int, Entry]] = {}
    for line, entry in list(draft.entries.items()):
        if not entry.id:
            continue
        first = seen.setdefault(entry.id, (line, entry))
        if entry.id in known or (first[0] != line and first[1] == entry):
            del draft.entries[line]
            draft.skipped += 1
        elif first[0] != line:
            message = f"Line {first[0]} has the id “{entry.id}” already, with other values."
            draft.reject(line, [FieldError("id", message)])


def _check_links(draft: _Draft, session: Session, room_id: int) -> None:
    """Reject corrections and withdrawals that have nothing to act on, until none is left."""
    while found := broken_links(draft.entries, session, room_id):
        for line, error in found:
            draft.reject(line, [error])


def _preview(
    draft: _Draft,
    entries: Sequence[Entry],
    form: TableForm | None,
    file: TextFile,
    new_tanks: tuple[str, ...],
    new_resins: tuple[str, ...],
) -> Preview:
    tanks = Counter(tank for entry in entries if (tank := getattr(entry, "tank", None)))
    unknown = dict.fromkeys(name for entry in entries for name in entry.extra)
    return Preview(
        entries=len(entries),
        kinds=dict(Counter(entry.kind for entry in entries).most_common()),
        tanks=dict(sorted(tanks.items())),
        new_tanks=new_tanks,
        new_resins=new_resins,
        first_at=min((entry.at for entry in entries), default=None),
        last_at=max((entry.at for entry in entries), default=None),
        skipped=draft.skipped,
        unknown_fields=tuple(unknown)[:SHOWN_NAMES],
        errors=tuple(sorted(draft.errors, key=lambda error: error.line)),
        bad_lines=len(draft.bad),
        form=form,
        is_guessed_encoding=file.is_guessed,
    )
