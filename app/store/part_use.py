"""What a tank has gone through since a part was fitted."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import func, select
from sqlmodel import Session, col

from app.store.instants import to_us
from app.store.tables import EntryRow


@dataclass(frozen=True)
class PartUse:
    """Washes and swaps of the tank since then."""

    washes: int
    swaps: int


def use_since(session: Session, room_id: int, tank: str, since_at: datetime) -> PartUse:
    """Washes and swaps of a tank since an instant, from the log."""
    query = (
        select(col(EntryRow.kind), func.count())
        .where(
            col(EntryRow.room_id) == room_id,
            col(EntryRow.tank) == tank,
            col(EntryRow.kind).in_(("wash", "swap")),
            col(EntryRow.moment_us) >= to_us(since_at),
            col(EntryRow.voided_by).is_(None),
        )
        .group_by(col(EntryRow.kind))
    )
    counts: dict[str, int] = {row[0]: row[1] for row in session.execute(query)}
    return PartUse(counts.get("wash", 0), counts.get("swap", 0))
