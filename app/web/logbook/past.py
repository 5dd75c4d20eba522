"""How entries came into the log: when they were recorded, from where, and what they changed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.roomlog.kinds import Withdrawal
from app.services.entries import entry_of
from app.services.late_marks import marks
from app.services.meters.book import instruments, unnamed
from app.services.naming import names_of
from app.store.imports import brought_by
from app.store.instants import from_us
from app.store.log import LoggedEntry, entries_of
from app.store.tables import EntryRow, RoomRow
from app.web.filters import moment
from app.web.telling import said_of, sentence_of, title_of

UNNAMED = "{} not named"
AT_ONCE = timedelta(minutes=1)


@dataclass(frozen=True)
class Change:
    """A field that a correction changed; an empty text where it said nothing."""

    label: str
    before: str
    after: str


@dataclass(frozen=True)
class Past:
    """How an entry came.

    Attributes:
        recorded_at: when this database received it.
        source: the import it came with; empty where it was entered by itself.
        changes: of a correction, what it changed.
        withdrawn: of a withdrawal, the sentence that it took back.
        late: that it came in after a hold, and was said to be from before it or done during it.
        words: what the log shows of it besides its changes; empty where there is nothing to say.
    """

    recorded_at: datetime
    source: str
    changes: tuple[Change, ...]
    withdrawn: str
    words: str
    late: str


def past_of(session: Session, room: RoomRow, items: Sequence[LoggedEntry]) -> dict[str, Past]:
    """How each of some entries came, by their ids."""
    room_id = room.id or 0
    rows = [item.row for item in items]
    entries = {row.uid: entry_of(row) for row in rows}
    targets = {
        uid: entry.withdraws if isinstance(entry, Withdrawal) else entry.corrects
        for uid, entry in entries.items()
    }
    olds = {
        row.uid: entry_of(row)
        for row in entries_of(session, room_id, {one for one in targets.values() if one})
    }
    names = names_of(session, room_id, [*entries.values(), *olds.values()])
    imports = brought_by(session, room_id, [row.id or 0 for row in rows])
    held, meters = marks(session, room, rows), instruments(session, room_id)
    found = {}
    for row in rows:
        entry, old = entries[row.uid], olds.get(targets[row.uid] or "")
        changes: tuple[Change, ...] = ()
        withdrawn = ""
        if old is not None and isinstance(entry, Withdrawal):
            withdrawn = f"{title_of(old)}, {_local(old.at, room)}: {sentence_of(old, room, names)}"
        elif old is not None:
            changes = _changes(said_of(old, room, names), said_of(entry, room, names))
        brought = imports.get(row.id or 0)
        source = ""
        if brought is not None:
            way = "taken back with" if brought.undoes is not None else "imported with"
            source = f"{way} {brought.name or 'a file'}"
        late = held.get(row.uid, "")
        nameless = [UNNAMED.format(one) for one in unnamed(meters, entry)]
        words = "; ".join(filter(None, (withdrawn, _recorded(row, room), source, late, *nameless)))
        recorded_at = from_us(row.recorded_at_us)
        found[row.uid] = Past(recorded_at, source, changes, withdrawn, words, late)
    return found


def _changes(before: dict[str, str], after: dict[str, str]) -> tuple[Change, ...]:
    labels = dict.fromkeys([*before, *after])
    pairs = ((one, before.get(one, ""), after.get(one, "")) for one in labels)
    return tuple(Change(*pair) for pair in pairs if pair[1] != pair[2])


def _recorded(row: EntryRow, room: RoomRow) -> str:
    """When it was recorded, where that was not when it happened."""
    recorded_at = from_us(row.recorded_at_us)
    if abs(recorded_at - from_us(row.at_us)) < AT_ONCE:
        return ""
    return f"recorded {_local(recorded_at, room)}"


def _local(at: datetime, room: RoomRow) -> str:
    return moment(at, ZoneInfo(room.time_zone))
