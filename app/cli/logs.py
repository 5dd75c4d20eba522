"""The commands that hand room logs out, and list the rooms."""

import argparse
import sys
from collections.abc import Iterator
from pathlib import Path

from sqlmodel import Session, col, func, select

from app.cli.database import opened
from app.clock import utc_now
from app.domain.errors import NotFound
from app.domain.plural import counted
from app.services.exporting import log_lines, log_table
from app.store.imports import UnderWay, under_way
from app.store.queries import archived
from app.store.sessions import reading
from app.store.tables import EntryRow, RoomRow


def export_log(words: argparse.Namespace) -> int:
    """Write a room's log to a file or to the screen."""
    with opened(words.data) as store:
        with reading(store) as session:
            room = find(session, words.room)
        assert room.id is not None
        lines = (log_table if words.csv else log_lines)(store, room.id)
        if words.output is None:
            for line in lines:
                sys.stdout.buffer.write(line.encode())
        else:
            count = _write_file(words.output, lines, is_table=words.csv)
            say(f"Wrote {counted(count, 'line')} to {words.output}.")
    return 0


def list_rooms(words: argparse.Namespace) -> int:
    """One line a room."""
    with opened(words.data) as store, reading(store) as session:
        counts = select(EntryRow.room_id, func.count()).group_by(col(EntryRow.room_id))
        entries = dict(session.exec(counts).all())
        rooms = session.exec(select(RoomRow).order_by(RoomRow.name)).all()
        gone = archived(session)
        for room in rooms:
            said = ", archived" if room.id in gone else ""
            held = counted(entries.get(room.id or 0, 0), "entry", "entries")
            say(f"{room.key:20} {room.name:32} {held:>18}{said}")
            if (state := under_way(session, room.id or 0, utc_now())) is not None:
                say(f"{'':20} {in_words(state)}")
        if not rooms:
            say("No room has been set up yet.")
    return 0


def in_words(state: UnderWay) -> str:
    """What goes on in a room, or stopped in the middle."""
    if not state.name:
        return f"working out the figures: {state.done:,} of {state.total:,}"
    if state.is_stored:
        return f"{state.name} is in; working out the figures: {state.done:,} of {state.total:,}"
    done = f"{state.done:,} of {state.total:,} entries are {'back' if state.is_undo else 'in'}"
    return f"{state.name}: {done}{', stopped' if state.is_stopped else ''}"


def find(session: Session, name: str) -> RoomRow:
    rooms = session.exec(select(RoomRow)).all()
    for room in rooms:
        if name == room.key or name.lower() == room.name.lower():
            return room
    known = ", ".join(sorted(room.key for room in rooms)) or "none yet"
    raise NotFound(f"There is no room “{name}”. Rooms: {known}.")


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


def say(text: str) -> None:
    sys.stdout.write(f"{text}\n")
