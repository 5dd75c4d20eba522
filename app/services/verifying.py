"""Whether a room's log is what was stored: its chain walked, and its end as people note it."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.domain.chain import Anchor, anchor_at
from app.domain.chain_walk import Room, Walked, walk
from app.services.changes import Progress
from app.store import chain
from app.store.chain_tables import ChainRow
from app.store.instants import from_us
from app.store.tables import RoomRow

EVERY = 2000


@dataclass(frozen=True)
class Chained:
    """What a room's page says of its chain.

    Attributes:
        since: when the log was chained first.
        before: entries that were there by then, and are chained as they were.
        code: the anchor of the end, to be noted.
        number: the last entry's, which was recorded at `at`.
    """

    since: datetime
    before: int
    number: int
    code: str
    at: datetime | None


def chained(session: Session, room: RoomRow) -> Chained | None:
    """The chain of a room as it stands, not walked; None where there is nothing in it."""
    assert room.id is not None
    end = chain.chain_of(session, room.id)
    if end is None or not end.number:
        return None
    at_us = chain.recorded_at(session, room.id, end.number)
    code = anchor_at(end.number, bytes(end.digest)).code
    at = None if at_us is None else from_us(at_us)
    return Chained(from_us(end.since_us), end.before, end.number, code, at)


def verify(
    session: Session, room: RoomRow, anchor: Anchor | None = None, progress: Progress | None = None
) -> Walked:
    """Walk along a room's chain; all reads see one moment where the session was told so."""
    room_id = room.id
    assert room_id is not None
    end = chain.chain_of(session, room_id)
    if end is None:
        return _without_chain(session, room)
    known = Room(
        room.key, room.sequence, end.number, bytes(end.digest),
        lambda uid: chain.has_entry(session, room_id, uid),
        lambda uid: chain.has_link(session, room_id, uid),
    )  # fmt: skip
    rows = chain.rows_of(session, room_id)
    return walk(known, _told(rows, end, progress), chain.links_of(session, room_id), anchor)


def _without_chain(session: Session, room: RoomRow) -> Walked:
    count = chain.count_of(session, room.id or 0)
    if not count and not room.sequence:
        return Walked(0)
    return Walked(0, "The log has no chain. Its digests were removed, or no start has made them.")


def _told(
    rows: Iterator[dict[str, Any]], end: ChainRow, progress: Progress | None
) -> Iterator[dict[str, Any]]:
    for count, row in enumerate(rows):
        if progress is not None and count % EVERY == 0:
            progress("Walking", count, end.number)
        yield row
