"""Where the liquid of a bath stood before: a bath that was moved takes along what went into it."""

from bisect import bisect_left
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Swap, Tank
from app.services.caching import kept
from app.services.entries import entry_of
from app.store.tables import EntryRow, RoomRow

Fills = Mapping[str, tuple[tuple[datetime, str], ...]]
"""When each tank was filled, in order, and from which tank; from none where it was fresh."""


@dataclass(frozen=True)
class Stay:
    """Where the liquid of a bath stood, and for how long; `until_at` is None where it stands."""

    tank: str
    since_at: datetime
    until_at: datetime | None = None

    def holds(self, tank: str, at: datetime) -> bool:
        """It stood in a tank at an instant."""
        is_over = self.until_at is not None and at > self.until_at
        return tank == self.tank and at >= self.since_at and not is_over


def stays_of(session: Session, room: RoomRow, tank: str, since: datetime) -> list[Stay]:
    """Where what is in a tank since an instant stood: a bath that was moved there stood in another
    tank before, since that one was filled."""
    fills, found, left = _fills(session, room), list[Stay](), [Stay(tank, since)]
    while left:
        stay = left.pop()
        found.append(stay)
        here = fills.get(stay.tank, ())
        for at, source in here[bisect_left(here, stay.since_at, key=_when) :]:
            if stay.until_at is not None and at >= stay.until_at:
                break
            there = fills.get(source, ())
            place = bisect_left(there, at, key=_when)
            if source and place:
                left.append(Stay(source, there[place - 1][0], at))
    return found


def _when(fill: tuple[datetime, str]) -> datetime:
    return fill[0]


def _fills(session: Session, room: RoomRow) -> Fills:
    """The fills of all tanks; worked out anew where something was entered."""
    assert room.id is not None

    def read() -> Fills:
        rows = session.exec(
            select(EntryRow)
            .where(EntryRow.room_id == room.id, col(EntryRow.voided_by).is_(None))
            .where(col(EntryRow.kind).in_((Swap.kind, Tank.kind)))
            .order_by(col(EntryRow.moment_us), col(EntryRow.rank), col(EntryRow.sequence))
        )
        found: dict[str, list[tuple[datetime, str]]] = {}
        for entry in map(entry_of, rows):
            if isinstance(entry, Swap | Tank):
                source = getattr(entry, "from_tank", None) or ""
                found.setdefault(entry.tank, []).append((entry.at, source))
        return {key: tuple(sorted(fills, key=_when)) for key, fills in found.items()}

    return kept(session, room.id, "fills of tanks", room.version, read)
