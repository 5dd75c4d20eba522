"""What a file tells of that the room forbids as it stands: it is stored, and told loudly.

A file is refused nothing that happened. But one that ships a drum in quarantine, or washes in a
tank that is held, tells of harm, and whoever brings it in hears of it first. Only what lies in the
days of a hold is looked at: the years before it are history.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.calendar_words import moment_words
from app.domain.harm.acts import OF_KIND
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.supplies import StockUsed
from app.services.harm import refused
from app.store.tables import RoomRow

RECENT = timedelta(days=30)  # common practice, no source: a hold is settled within days
MOST = 500  # lines that are looked at, the latest: each asks for the room's books


def forbidden_now(
    session: Session, room: RoomRow, entries: Mapping[int, Entry], now: datetime
) -> Iterator[str]:
    """Sentences on the lines of a file whose act the harm matrix forbids, one a line."""
    acts = [
        (line, entry)
        for line, entry in entries.items()
        if (type(entry) in OF_KIND or isinstance(entry, StockUsed)) and entry.at >= now - RECENT
    ]
    acts.sort(key=lambda one: one[1].at)
    for line, entry in acts[-MOST:]:
        if found := refused(session, room, entry, now):
            when = moment_words(entry.at, ZoneInfo(room.time_zone))
            yield f"Line {line}, {entry.summary.lower()}, {when}: {found[0].message}"
