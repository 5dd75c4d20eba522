"""Estimates, forecasts and the room page's rows, kept in step with the log by the driver."""

from collections.abc import Collection, Mapping
from datetime import datetime
from typing import ClassVar

from sqlmodel import Session

from app.domain.baths.fold import BATHS, BathFold
from app.domain.roomlog.kinds import Resin, Tank, TankChange, Withdrawal
from app.services.baths.board import define_tanks, refresh_levels, refresh_tanks
from app.services.baths.states import Course, baths_of, head, hold
from app.services.baths.swap_levels import tanks_of_swaps
from app.services.changes import Progress
from app.services.definitions import define_resins
from app.services.projecting import Write
from app.store.engine import Store
from app.store.tables import RoomRow


class Baths:
    """The baths of a room, as one projection.

    Needs the books: where a swap is under way, they say what stands in its tank.
    """

    name: ClassVar[str] = "baths"
    needs: ClassVar[tuple[str, ...]] = ("books",)

    def versions(self, _room: RoomRow) -> Mapping[str, str]:
        """That of the filter's state."""
        return BathFold.versions

    def move(self, write: Write) -> None:
        """Bring estimates, forecasts and levels up to a write."""
        session, store, room = write.session, write.store, write.room
        if self.name not in write.waiting:
            _estimate(write)
        tanks = tanks_of_swaps(session, write.room_id, write.changes)
        refresh_levels(session, store, room, tanks, write.now)

    def rebuild(
        self, session: Session, store: Store, room: RoomRow, kinds: Collection[str],
        now: datetime, progress: Progress | None,
    ) -> None:  # fmt: skip
        """Work estimates and forecasts out anew from the log."""
        assert room.id is not None
        define_resins(session, room.id)
        define_tanks(session, room.id)
        course = Course(room.id)
        baths_of(room, store).rebuild(session, room.id, kinds, course, progress)
        run = head(session, store, room)
        if run is not None:
            refresh_tanks(session, room, run, now)
            hold(store, room, run)


def _estimate(write: Write) -> None:
    session, room, room_id = write.session, write.room, write.room_id
    baths = baths_of(room, write.store)
    touched = baths.touched(write.changes).get(BATHS)
    if touched is None:
        return
    changed = tuple(write.changes.entries)
    if any(isinstance(entry, Resin | Withdrawal) for entry in changed):
        define_resins(session, room_id)
    if any(isinstance(entry, Tank | TankChange | Withdrawal) for entry in changed):
        define_tanks(session, room_id)
    course = Course(room_id)
    run = baths.move(session, room_id, BATHS, touched, course, write.progress)
    # What was corrected or taken back may have left its tank with nothing to follow.
    tanks = {tank for entry in changed if (tank := getattr(entry, "tank", None))}
    refresh_tanks(
        session, room, run, write.now, course.tanks | tanks, course.has_readings,
        can_wait=write.store.makes_forecasts_soon,
    )  # fmt: skip
