"""The commands that bring room logs in, list what was brought in, and take it back."""

import argparse
import sys
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.cli.database import is_set_up, opened
from app.cli.leads import asked_here, require_led_here
from app.cli.logs import find, say
from app.cli.previews import complain, count_of, preview_in_words
from app.cli.progress import ProgressBar
from app.clock import utc_now
from app.domain.errors import FieldError, FieldErrors, NotFound
from app.services.acts.rooms import RoomForm, add_room
from app.services.catching_up import new_owner
from app.services.importing.deciding import has_decided
from app.services.importing.importing import Checked, check_file, store_checked
from app.services.importing.previews import Preview
from app.services.importing.storing import Origin, stop_now
from app.services.importing.tables import TableOptions, UnclearTable
from app.services.importing.undoing import undo
from app.store.engine import Store, open_store
from app.store.import_tables import ImportRow
from app.store.imports import find_import, imports
from app.store.instants import from_us
from app.store.migrations import upgrade
from app.store.sessions import reading
from app.store.tables import RoomRow

TABLE_ENDINGS = (".csv", ".tsv", ".txt")
ASKS = {
    "day_first": "Give --day-first or --month-first.",
    "decimal_comma": "Give --decimal-comma or --decimal-point.",
}
STATES = {"storing": "under way", "stopping": "being stopped", "undone": "taken back"}


def import_log(words: argparse.Namespace) -> int:
    """Check a file, say what it holds, and store it: nothing is made before it is sound."""
    now = utc_now()
    with _place_to_check(words) as place:
        progress = ProgressBar()
        try:
            options = _table_options(words)
            with asked_here(place.store, words.data):
                checked = check_file(place.store, place.room.key, words.log, now, options, progress)
        except UnclearTable as error:
            raise FieldErrors([_asked(each.field, each.text) for each in error.questions]) from None
        finally:
            progress.close()
        say(preview_in_words(checked.preview, place.room))
        complain(checked.preview)
        if words.check:
            return 1 if checked.preview.bad_lines else 0
        if _is_refused(checked.preview, skip_bad=words.skip_bad):
            return 1
        if not place.is_for_show:
            return _store(place.store, place.room, checked, words)
    with opened(words.data, is_new_allowed=True) as store:
        key = add_room(store, _form(words), now)
        with reading(store) as session:
            room = find(session, key)
        return _store(store, room, checked, words)


def list_imports(words: argparse.Namespace) -> int:
    """One line an import; or one taken back."""
    with opened(words.data) as store:
        with reading(store) as session:
            room = find(session, words.room)
            assert room.id is not None
            rows = imports(session, room.id)
        if words.undo is not None:
            return _undo(store, room, rows, words)
        for row in reversed(rows):
            say(_line(row, ZoneInfo(room.time_zone)))
        if not rows:
            say(f"Nothing has been imported into the room “{room.name}” yet.")
    return 0


@dataclass(frozen=True)
class _Place:
    """A room to hold a file against; `is_for_show`: one that is made up, and gone afterwards."""

    store: Store
    room: RoomRow
    is_for_show: bool = False


@contextmanager
def _place_to_check(words: argparse.Namespace) -> Iterator[_Place]:
    """The room that a file is meant for, or an empty one in its place where it is to be set up.

    Raises:
        NotFound, DomainError: there is none, and nobody asked for one to be set up.
    """
    if not words.create or is_set_up(words.data):
        with opened(words.data) as store:
            with reading(store) as session:
                room = _found(session, words)
            if room is not None:
                yield _Place(store, room)
                return
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(f"sqlite:///{Path(folder) / 'check.sqlite3'}")
        try:
            upgrade(store)
            key = add_room(store, _form(words), utc_now())
            with reading(store) as session:
                room = find(session, key)
            yield _Place(store, room, is_for_show=True)
        finally:
            store.close()


def _found(session: Session, words: argparse.Namespace) -> RoomRow | None:
    try:
        return find(session, words.room)
    except NotFound as error:
        if not words.create:
            raise NotFound(f"{error} --create sets one up.") from None
        return None


def _form(words: argparse.Namespace) -> RoomForm:
    return RoomForm(words.room, time_zone=words.time_zone or "UTC")


def _asked(field: str, text: str) -> FieldError:
    return FieldError(field, f"{text.partition(' Nothing in the sheet')[0]} {ASKS[field]}")


def _is_refused(preview: Preview, skip_bad: bool) -> bool:
    if preview.bad_lines and not skip_bad:
        sys.stderr.write("Nothing was stored. --skip-bad leaves these lines out.\n")
        return True
    if preview.bad_lines and not preview.entries and not preview.skipped:
        sys.stderr.write("Nothing was stored: no line is usable.\n")
        return True
    return False


def _store(store: Store, room: RoomRow, checked: Checked, words: argparse.Namespace) -> int:
    is_led = bool(checked.preview.decided)
    if is_led:
        require_led_here(store, words.data, room.id or 0, words.by)
    progress = ProgressBar()
    origin = Origin(token=new_owner(), name=words.log.name, by=words.by, is_led=is_led)
    try:
        done = store_checked(store, room.key, checked, utc_now, origin, words.skip_bad, progress)
    except KeyboardInterrupt:
        progress.close()
        stopped = stop_now(store, room.key, checked.digest)
        sys.stderr.write(
            "Stopped. Nothing was stored.\n"
            if stopped is None
            else f"{stopped.message} Run the same command again to finish it; "
            f"“imports {room.key} --undo {stopped.id}” takes it back.\n"
        )
        raise
    finally:
        progress.close()
    say(f"Stored {count_of(len(done.ids))} in the room “{room.name}”.")
    return 0


def _undo(store: Store, room: RoomRow, rows: Sequence[ImportRow], words: argparse.Namespace) -> int:
    found = next((row for row in rows if row.id == words.undo and row.undoes is None), None)
    if found is None:
        raise NotFound(f"There is no import {words.undo} in the room “{room.name}”.")
    with asked_here(store, words.data), reading(store) as session:
        is_led = has_decided(session, room.id or 0, found)
    if is_led:
        require_led_here(store, words.data, room.id or 0, words.by)
    progress = ProgressBar()
    try:
        done = undo(store, room.key, found.token, words.by, utc_now, progress)
    except KeyboardInterrupt:
        progress.close()
        stop_now(store, room.key, f"undo-{found.id}")
        sys.stderr.write("Stopped. Run the same command again to finish it.\n")
        raise
    finally:
        progress.close()
    with reading(store) as session:
        assert room.id is not None
        row = find_import(session, room.id, done.token)
    say(f"Taken back: {count_of(done.count)}. {row.message if row else ''}".rstrip())
    return 0


def _line(row: ImportRow, zone: ZoneInfo) -> str:
    at = from_us(row.started_at_us).astimezone(zone)
    what = f"{row.name or 'sent by a program'}"
    if row.undoes is not None:
        what = f"taking back {what}"
    state = STATES.get(row.state, row.state)
    count = f"{row.done:,} of {row.total:,} entries, {state}"
    return f"{row.id:>6}  {at:%Y-%m-%d %H:%M}  {what:32}  {count}  {row.message}".rstrip()


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
