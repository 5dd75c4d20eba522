"""Holding a tank or a curing station by hand, and releasing it."""

from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import Conflict
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.incidents import TankReleased
from app.services import door
from app.services.door import Recorded
from app.services.incidents.holds import SAY_CONTENTS, Held, Released, hold, sent, station_hold
from app.store.engine import Store
from app.store.tables import RoomRow


def put_on_hold(store: Store, room: str, entry: Held, now: datetime, key: str | None) -> Recorded:
    """Hold a tank or station: whoever sees something may; only a lead releases it.

    In the middle of a tank's swap, what is in it is asked with the hold (services/following).
    """
    return door.enter(store, room, door.Act(lambda _, __: [entry], sent(entry)), now, key)


def release(store: Store, room: str, entry: Released, now: datetime, key: str | None) -> Recorded:
    """Release a held tank or station.

    Raises:
        FieldErrors: no lead of the room says so.
        Conflict: it is not held.
    """

    def decide(session: Session, row: RoomRow) -> Sequence[Entry]:
        assert row.id is not None
        if isinstance(entry, TankReleased):
            what, state = "tank", hold(session, row.id, entry.tank)
        else:
            what, state = "station", station_hold(session, row.id, entry.station)
        if state.is_held and not state.is_for_a_lead:
            raise Conflict(SAY_CONTENTS)
        if not state.is_held:
            raise Conflict(f"This {what} is no longer held. Reload the page.")
        return [entry]

    return door.enter(store, room, door.Act(decide, sent(entry)), now, key)
