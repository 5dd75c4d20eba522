"""The demo room: made-up history, moved so that it ends now, brought in as any log is."""

from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

from sqlmodel import select

from app.domain.roomlog.calendar import moved
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.lines import parse_line
from app.services.acts.rooms import RoomForm, add_room
from app.services.changes import Progress
from app.services.door import bring_in
from app.services.importing.textfiles import examine, lines
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import RoomRow

LOG = Path(__file__).parents[2] / "demo_data" / "larkmoor.jsonl"
ROOM = RoomForm(name="Larkmoor Print Works", key="larkmoor", time_zone="Europe/Dublin")
LAST_DAY = date(2026, 3, 4)


def is_loaded(store: Store) -> bool:
    """The demo room is there, with a history."""
    with reading(store) as session:
        sequence = session.exec(select(RoomRow.sequence).where(RoomRow.key == ROOM.key)).first()
    return bool(sequence)


def load_demo(store: Store, now: datetime, progress: Progress | None = None) -> None:
    """Set the demo room up with its history up to `now`."""
    with reading(store) as session:
        is_there = session.exec(select(RoomRow.id).where(RoomRow.key == ROOM.key)).first()
    if is_there is None:
        add_room(store, ROOM, now)
    bring_in(store, ROOM.key, history(now), now, progress=progress)


def history(now: datetime) -> list[Entry]:
    """The demo's entries that are known by `now`."""
    zone = ZoneInfo(ROOM.time_zone)
    today = now.astimezone(zone).date()
    entries = [parse_line(text) for _, text in lines(examine(LOG)) if text]
    shifted = [moved(entry, LAST_DAY, today, zone) for entry in entries]
    return [entry for entry in shifted if entry.known_at <= now]
