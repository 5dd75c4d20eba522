"""The clock of the server, as a room's entries let it be believed."""

from datetime import datetime

from app.domain.clockwork import ClockDoubt, clock_doubt
from app.domain.errors import Conflict
from app.store.instants import maybe_from_us
from app.store.tables import RoomRow


def doubt_of(room: RoomRow, now: datetime) -> ClockDoubt | None:
    """Why the clock is doubted, by when the room's last entry was recorded."""
    return clock_doubt(maybe_from_us(room.last_recorded_us), now)


class ClockInDoubt(Conflict):
    """Nothing is stored while nobody has said that the date is right."""

    def __init__(self) -> None:
        super().__init__(
            "The date of the server may be wrong. Check it on the room page first. "
            "Nothing was stored."
        )


def require_clock(room: RoomRow, now: datetime) -> None:
    """Store nothing under a date that may be wrong.

    Raises:
        ClockInDoubt: it is in doubt.
    """
    if doubt_of(room, now) is not None:
        raise ClockInDoubt
