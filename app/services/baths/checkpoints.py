"""The filter's states that are kept, so that a late entry replays a stretch, not the whole log."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import delete, insert
from sqlmodel import Session, col, select

from app.domain.baths.estimator import RoomFilter
from app.services.entries import START, Place, after, before, place_of
from app.store.engine import Store
from app.store.tables import CheckpointRow, CourseRow, HeadRow, RoomRow

THINNING = 8  # distance between kept checkpoints, as a share of their age in entries


@dataclass
class Run:
    """A filter on its way through the log: its state, where it stands, how many entries it took."""

    filter: RoomFilter
    place: Place
    entries: int


def new_filter(room: RoomRow) -> RoomFilter:
    """A filter that has seen nothing."""
    return RoomFilter(zone=ZoneInfo(room.time_zone))


def load_filter(session: Session, room: RoomRow) -> RoomFilter:
    """The filter after the last entry, for reading."""
    row = session.get(HeadRow, room.id)
    return new_filter(room) if row is None else RoomFilter.from_bytes(row.state)


def head(session: Session, store: Store, room: RoomRow) -> Run | None:
    """The run after the last entry; taken from memory where that is still the newest."""
    columns = (HeadRow.moment_us, HeadRow.rank, HeadRow.sequence, HeadRow.entries)
    row = session.exec(select(*columns).where(HeadRow.room_id == room.id)).first()
    if row is None or room.id is None:
        return None
    place, entries = Place(*row[:3]), row[3]
    kept = store.states.pop(room.id, None)
    if isinstance(kept, Run) and (kept.place, kept.entries) == (place, entries):
        return kept
    return Run(load_filter(session, room), place, entries)


def rewound(session: Session, room: RoomRow, place: Place) -> Run:
    """The run at the last checkpoint before a place; what was worked out behind it is dropped."""
    run = last_before(session, room, place)
    for table in (CourseRow, CheckpointRow):
        behind = col(table.room_id) == room.id, after(table, run.place)
        session.execute(delete(table).where(*behind))
    return run


def last_before(session: Session, room: RoomRow, place: Place) -> Run:
    """The run at the last checkpoint before a place."""
    row = session.exec(
        select(CheckpointRow)
        .where(CheckpointRow.room_id == room.id, before(CheckpointRow, place))
        .order_by(col(CheckpointRow.entries).desc())
        .limit(1)
    ).first()
    if row is None:
        return Run(new_filter(room), START, 0)
    return Run(RoomFilter.from_bytes(row.state), place_of(row), row.entries)


def checkpoint(room: RoomRow, run: Run) -> dict[str, Any]:
    """The run's state as it is kept."""
    state = run.filter.to_bytes()
    return {"room_id": room.id, **vars(run.place), "entries": run.entries, "state": state}


def keep(session: Session, room: RoomRow, run: Run) -> None:
    """Keep the run's state as a checkpoint."""
    session.execute(insert(CheckpointRow).values(**checkpoint(room, run)))


def keep_head(session: Session, store: Store, room: RoomRow, run: Run) -> None:
    """Keep the run as the one after the last entry."""
    assert room.id is not None
    session.merge(
        HeadRow(
            room_id=room.id, entries=run.entries, state=run.filter.to_bytes(), **vars(run.place)
        )
    )
    store.states[room.id] = run


def thin(session: Session, room: RoomRow, entries: int) -> None:
    """Drop checkpoints that stand closer together than their age calls for."""
    rows = session.exec(
        select(CheckpointRow.id, CheckpointRow.entries)
        .where(CheckpointRow.room_id == room.id)
        .order_by(col(CheckpointRow.entries))
    )
    dropped = superfluous([(key, count) for key, count in rows if key is not None], entries)
    if dropped:
        session.execute(delete(CheckpointRow).where(col(CheckpointRow.id).in_(dropped)))


def superfluous(checkpoints: Iterable[tuple[int, int]], entries: int) -> list[int]:
    """Which of the (key, entries before it) pairs, in rising order, can go.

    What is kept grows with the logarithm of the log.

    >>> superfluous([(1, 100), (2, 150), (3, 9_000), (4, 9_960)], entries=10_000)
    [2]
    """
    dropped = []
    last: int | None = None
    for key, count in checkpoints:
        if last is not None and count - last < (entries - count) / THINNING:
            dropped.append(key)
        else:
            last = count
    return dropped
