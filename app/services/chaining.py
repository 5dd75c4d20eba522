"""Chaining the log: each row that is appended gets its link, in the same transaction.

A log that was there before gets its links at the next start; the chain keeps since when it is, and
how many entries were there by then.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import Any

from sqlalchemy import insert
from sqlmodel import Session, select

from app.domain.chain import beginning, digest_after
from app.services.changes import Progress
from app.services.rooms import find_room
from app.services.transaction import write
from app.store.chain import PAGE, rows_of, unchained
from app.store.chain_tables import ChainLinkRow, ChainRow
from app.store.engine import Store
from app.store.instants import to_us
from app.store.sessions import reading
from app.store.tables import RoomRow


@dataclass
class Chain:
    """The chain of a room that is held, to be made longer."""

    session: Session
    end: ChainRow

    def link(self, rows: Iterable[Mapping[str, Any]]) -> None:
        """Add a link for each row of the log, in order."""
        number, digest = self.end.number, bytes(self.end.digest)
        links = []
        for row in rows:
            number += 1
            digest = digest_after(digest, number, row)
            links.append(
                {"room_id": self.end.room_id, "number": number, "uid": row["uid"], "digest": digest}
            )
        if links:
            self.session.execute(insert(ChainLinkRow.__table__), links)  # type: ignore[attr-defined]
        self.end.number, self.end.digest = number, digest


def chain_to_extend(
    session: Session, room: RoomRow, now: datetime, progress: Progress | None = None
) -> Chain:
    """The chain of a room that is held against other writers; what was there before is chained."""
    assert room.id is not None
    end = session.get(ChainRow, room.id, populate_existing=True)
    if end is not None:
        return Chain(session, end)
    chain = chain_begun(session, room, to_us(now), room.sequence)
    if room.sequence:
        _chain_rest(chain, room, progress)
    return chain


def chain_begun(session: Session, room: RoomRow, since_us: int, before: int) -> Chain:
    """The chain of a room that has none yet, which began where its log comes from."""
    assert room.id is not None
    end = ChainRow(
        room_id=room.id, since_us=since_us, before=before, number=0, digest=beginning(room.key)
    )
    session.add(end)
    session.flush()
    return Chain(session, end)


def _chain_rest(chain: Chain, room: RoomRow, progress: Progress | None) -> None:
    rows = rows_of(chain.session, chain.end.room_id)
    while some := list(islice(rows, PAGE)):
        chain.link(some)
        if progress is not None:
            progress("Chaining", chain.end.number, room.sequence)


def chain_up(store: Store, now: datetime, progress: Progress | None = None) -> Sequence[str]:
    """Chain the logs that were there before there were chains; the rooms that have one.

    Each room is a transaction of its own: a start that is cut off leaves it whole or unchained.
    """
    with reading(store) as session:
        keys = unchained(session)
    for key in keys:
        with write(store, key) as session:
            held = select(RoomRow).where(RoomRow.id == find_room(session, key).id)
            room = session.exec(held.with_for_update()).one()
            chain_to_extend(session, room, now, progress)
            room.version += 1
    return keys
