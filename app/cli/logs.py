"""The commands that bring room logs in and hand them out."""

import argparse
import sys
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, func, select

from app.cli.database import opened
from app.cli.progress import ProgressBar
from app.clock import utc_now
from app.domain.errors import NotFound
from app.services.exporting import log_lines, log_table
from app.services.importing.importing import SHOWN_ERRORS, Preview, check_file, store_checked
from app.services.importing.tables import TableOptions
from app.services.rooms import RoomForm, add_room
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import EntryRow, RoomRow

TABLE_ENDINGS = (".csv", ".tsv", ".txt")


def import_log(words: argparse.Namespace) -> int:
    """Check a file, say what it holds, and store it."""
    now = utc_now()
    with opened(words.data, is_new_allowed=words.create) as store:
        room = _room_to_fill(store, words, now)
        progress = ProgressBar()
        try:
            checked = check_file(store, room.key, words.log, now, _table_options(words), progress)
            progress.close()
            _say(_in_words(checked.preview, room))
            _complain(checked.preview)
            if words.check:
                return 1 if checked.preview.bad_lines else 0
            if checked.preview.bad_lines and not words.skip_bad:
                sys.stderr.write("Nothing was stored. --skip-bad leaves these lines out.\n")
                return 1
            done = store_checked(store, room.key, checked, now, None, words.skip_bad, progress)
        finally:
            progress.close()
    _say(f"Stored {_entries(len(done.ids))} in the room “{room.name}”.")
    return 0


def export_log(words: argparse.Namespace) -> int:
    """Write a room's log to a file or to the screen."""
    with opened(words.data) as store:
        with reading(store) as session:
            room = _find(session, words.room)
        assert room.id is not None
        lines = (log_table if words.csv else log_lines)(store, room.id)
        if words.output is None:
            for line in lines:
                sys.stdout.buffer.write(line.encode())
        else:
            count = _write_file(words.output, lines, is_table=words.csv)
            _say(f"Wrote {count:,} lines to {words.output}.")
    return 0


def list_rooms(words: argparse.Namespace) -> int:
    """One line a room."""
    with opened(words.data) as store, reading(store) as session:
        counts = select(EntryRow.room_id, func.count()).group_by(col(EntryRow.room_id))
        entries = dict(session.exec(counts).all())
        rooms = session.exec(select(RoomRow).order_by(RoomRow.name)).all()
        for room in rooms:
            _say(f"{room.key:20} {room.name:32} {entries.get(room.id or 0, 0):>10,} entries")
        if not rooms:
            _say("No room has been set up yet.")
    return 0


def _room_to_fill(store: Store, words: argparse.Namespace, now: datetime) -> RoomRow:
    with reading(store) as session:
        try:
            return _find(session, words.room)
        except NotFound as error:
            if not words.create:
                raise NotFound(f"{error} --create sets one up.") from None
    key = add_room(store, RoomForm(words.room, time_zone=words.time_zone or "UTC"), now)
    with reading(store) as session:
        return _find(session, key)


def _find(session: Session, name: str) -> RoomRow:
    rooms = session.exec(select(RoomRow)).all()
    for room in rooms:
        if name == room.key or name.lower() == room.name.lower():
            return room
    known = ", ".join(sorted(room.key for room in rooms)) or "none yet"
    raise NotFound(f"There is no room “{name}”. Rooms: {known}.")


def _table_options(words: argparse.Namespace) -> TableOptions | None:
    if not words.csv and words.log.suffix.lower() not in TABLE_ENDINGS:
        return None
    columns = dict(reversed(text[::-1].split("=", 1)) for text in words.column if "=" in text)
    return TableOptions(
        columns={title[::-1]: what[::-1] for title, what in columns.items()},
        kind=words.kind,
        method=words.method,
        time_zone=words.time_zone,
        is_day_first=words.is_day_first,
        has_decimal_comma=words.decimal_comma,
    )


def _in_words(preview: Preview, room: RoomRow) -> str:
    """What an import would store, for people."""
    lines = [f"{_entries(preview.entries)} to store in the room “{room.name}”"]
    if preview.first_at and preview.last_at:
        zone = ZoneInfo(room.time_zone)
        first, last = (at.astimezone(zone) for at in (preview.first_at, preview.last_at))
        lines[0] += f", {first:%Y-%m-%d} to {last:%Y-%m-%d}"
    for title, counts in (("by kind", preview.kinds), ("by tank", preview.tanks)):
        if counts:
            lines.append(f"  {title}: " + ", ".join(f"{k} {n:,}" for k, n in counts.items()))
    for title, names in (
        ("new tanks", preview.new_tanks),
        ("new resins", preview.new_resins),
        ("kept, but not used", preview.unknown_fields),
    ):
        if names:
            lines.append(f"  {title}: {', '.join(names)}")
    if preview.form is not None:
        lines.append("  columns: " + "; ".join(_columns(preview)))
    if preview.skipped:
        lines.append(f"  {preview.skipped:,} are there already and are skipped")
    if preview.is_guessed_encoding:
        lines.append("  the file is not Unicode: read as Western European (cp1252)")
    return "\n".join(lines)


def _columns(preview: Preview) -> Iterator[str]:
    assert preview.form is not None
    for column in preview.form.columns:
        unit = f" in {column.unit}" if column.unit else ""
        yield f"{column.title} = {column.field}{unit}" if column.field else f"{column.title} kept"


def _complain(preview: Preview) -> None:
    for error in preview.errors:
        sys.stderr.write(f"line {error.line}: {error.field}: {error.message}\n")
    if preview.bad_lines:
        more = "" if len(preview.errors) < SHOWN_ERRORS else f"; the first {SHOWN_ERRORS} are shown"
        sys.stderr.write(f"Lines that do not fit: {preview.bad_lines:,}{more}.\n")


def _write_file(path: Path, lines: Iterator[str], is_table: bool) -> int:
    """Write all lines, or leave what was there; spreadsheets need the mark to see Unicode."""
    unfinished = path.with_name(f"{path.name}.part")
    count = 0
    encoding = "utf-8-sig" if is_table else "utf-8"
    try:
        with unfinished.open("w", encoding=encoding, newline="") as file:
            for line in lines:
                file.write(line)
                count += 1
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)
    return count


def _entries(count: int) -> str:
    return "1 entry" if count == 1 else f"{count:,} entries"


def _say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
