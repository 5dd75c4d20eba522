"""Whether a lead's word for heat or ultrasound still counts: it ends with its solvent."""

from sqlmodel import Session, col, select

from app.domain.baths.carried import Carried
from app.domain.builds import TankBuildState, hot_words
from app.domain.roomlog.kinds import Swap, Tank
from app.domain.solvents import SOLVENTS
from app.services.carried import carried_before, carried_into
from app.services.entries import entry_of
from app.services.incidents.doubts import mixed_into
from app.store.instants import from_us
from app.store.tables import EntryRow, RoomRow, TankRow


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
    named = [(one.at, one.solvent) for one in _fills(session, room, row.key) if one.solvent]
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


def _fills(session: Session, room: RoomRow, tank: str) -> list[Swap | Tank]:
    """What said which solvent is in a tank, in order."""
    rows = session.exec(
        select(EntryRow)
        .where(EntryRow.room_id == room.id, EntryRow.tank == tank)
        .where(col(EntryRow.kind).in_((Swap.kind, Tank.kind)))
        .where(col(EntryRow.voided_by).is_(None))
        .order_by(col(EntryRow.moment_us), col(EntryRow.rank), col(EntryRow.sequence))
    )
    found = (entry_of(row) for row in rows)
    return [entry for entry in found if isinstance(entry, Swap | Tank)]
