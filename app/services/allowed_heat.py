"""Whether a lead's word for heat or ultrasound still counts: it ends with its solvent."""

from sqlmodel import Session, col, select

from app.domain.builds import TankBuildState
from app.domain.roomlog.kinds import Swap, Tank
from app.services.entries import entry_of
from app.services.incidents.doubts import mixed_into
from app.store.tables import EntryRow, RoomRow, TankRow


def is_allowed(
    session: Session, room: RoomRow, row: TankRow, build: TankBuildState, solvent: str
) -> bool:
    """A lead lets a tank be used with this solvent in it.

    The word is for the solvent that was in the tank when it was given. Another solvent ends it,
    even if the first one comes back, and so does one that was poured in by mistake. At the same
    instant the word comes first.
    """
    if not build.lead or build.said_at is None or row.solvent != solvent:
        return False
    named = [(one.at, one.solvent) for one in _fills(session, room, row.key) if one.solvent]
    then = next((key for at, key in reversed(named) if at < build.said_at), solvent)
    since = {key for at, key in named if at >= build.said_at}
    is_same = {then, *since} == {solvent}
    return is_same and not mixed_into(session, room, row.key, build.said_at)


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
