"""Where the liquid of a bath stood before: a bath that was moved takes along what went into it."""

from bisect import bisect_left
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from app.services.tank_fills import Fill, tank_fills
from app.store.tables import RoomRow


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
    assert room.id is not None
    fills, found, left = tank_fills(session, room.id), list[Stay](), [Stay(tank, since)]
    while left:
        stay = left.pop()
        found.append(stay)
        here = fills.get(stay.tank, ())
        for fill in here[bisect_left(here, stay.since_at, key=_when) :]:
            at, source = fill.at, fill.source
            if stay.until_at is not None and at >= stay.until_at:
                break
            there = fills.get(source, ())
            place = bisect_left(there, at, key=_when)
            if source and place:
                left.append(Stay(source, there[place - 1].at, at))
    return found


def _when(fill: Fill) -> datetime:
    return fill.at
