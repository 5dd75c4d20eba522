"""The clock of the server, as a room's entries let it be believed."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from app.domain.clockwork import ClockDoubt, clock_doubt
from app.domain.errors import Conflict
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import Incident, StationHeld, TankHeld
from app.domain.roomlog.kinds.site import ClockConfirmed
from app.domain.roomlog.kinds.waste import DrumQuarantined
from app.store.instants import maybe_from_us
from app.store.site import archive
from app.store.tables import RoomRow


def doubt_of(room: RoomRow, now: datetime, *, is_archived: bool) -> ClockDoubt | None:
    """Why the clock is doubted, by when the room's last entry was recorded.

    Nothing is logged in an archived room, so how long that is ago tells nothing.
    """
    found = clock_doubt(maybe_from_us(room.last_recorded_us), now)
    return None if is_archived and found is not None and found.way == "ahead" else found


class ClockInDoubt(Conflict):
    """Nothing is stored while nobody has said that the date is right."""

    def __init__(self) -> None:
        super().__init__(
            "The server's date may be wrong. Check it on the room page first. Nothing was stored."
        )


CANNOT_WAIT = (ClockConfirmed, Incident, TankHeld, StationHeld, DrumQuarantined)
"""A danger and what holds it are stored under any date; so is the word that the date is right."""


def require_clock(
    session: Session, room: RoomRow, now: datetime, entries: Sequence[Entry] = ()
) -> None:
    """Store nothing under a date that may be wrong, `entries` that cannot wait excepted.

    Raises:
        ClockInDoubt: it is in doubt.
    """
    can_wait = not entries or not all(isinstance(entry, CANNOT_WAIT) for entry in entries)
    if not can_wait or doubt_of(room, now, is_archived=False) is None:
        return
    is_archived = archive(session, room.id or 0).is_archived
    if doubt_of(room, now, is_archived=is_archived) is not None:
        raise ClockInDoubt
