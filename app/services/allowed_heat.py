"""Whether a lead's word for heat or ultrasound still counts: it ends with its solvent."""

from sqlmodel import Session

from app.domain.baths.carried import Carried
from app.domain.builds import TankBuildState, hot_words
from app.domain.solvents import SOLVENTS
from app.services.carried import carried_before, carried_into
from app.services.incidents.doubts import mixed_into
from app.services.tank_fills import tank_fills
from app.store.instants import from_us
from app.store.tables import RoomRow, TankRow


def is_allowed(
    session: Session,
    room: RoomRow,
    row: TankRow,
    build: TankBuildState,
    solvent: str,
    source: str = "",
) -> bool:
    """A lead lets a tank be used with this solvent in it.

    The word is for the solvent that was in the tank when it was given. Another solvent ends it,
    even if the first one comes back, and so does one that was poured in by mistake, or so much that
    parts carried over since that there is a new reason to forbid it. At the same instant the word
    comes first.

    Args:
        source: the tank whose liquid is in it after the act; empty where it is fresh.
    """
    if not build.lead or build.said_at is None or row.solvent != solvent:
        return False
    fills = tank_fills(session, row.room_id).get(row.key, ())
    named = [(one.at, one.solvent) for one in fills if one.solvent]
    then = next((key for at, key in reversed(named) if at < build.said_at), solvent)
    since = {key for at, key in named if at >= build.said_at}
    is_same = {then, *since} == {solvent}
    if not is_same or mixed_into(session, room, row.key, build.said_at):
        return False
    return not source or not _is_another(session, room, row, build, source)


def _is_another(
    session: Session, room: RoomRow, row: TankRow, build: TankBuildState, source: str
) -> bool:
    """Its liquid catches fire where that of the word did not: nobody was asked about it."""
    other = session.get(TankRow, (room.id, source))
    if other is None or build.said_at is None:
        return False
    if source != row.key and mixed_into(session, room, source, from_us(other.fill_started_at_us)):
        return True
    here = carried_into(session, room, source)
    then = carried_before(session, room, row.key, build.said_at)
    if here is None:
        return False
    if here.is_flammable and not (then is not None and then.is_flammable):
        return True
    return _is_hot(other.solvent, build, here) and not _is_hot(row.solvent, build, then)


def _is_hot(solvent: str, build: TankBuildState, carried: Carried | None) -> bool:
    is_lowered = carried is not None and carried.is_flammable
    flash_c = carried.flash_c if carried is not None else None
    return hot_words(SOLVENTS.get(solvent), build, is_lowered, flash_c) != ""
