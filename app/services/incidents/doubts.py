"""Baths that a wrong solvent went into: what they hold is not known until they are changed.

The estimate counts resin by what was washed and read. It cannot know of another solvent, and no
density of the mixture tells resin from it, so its figure is not to be believed.
"""

from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from app.domain.incidents.book import IncidentState
from app.domain.roomlog.kinds.incidents import INCIDENT
from app.domain.solvents import SOLVENTS
from app.domain.waste.drums import DrumState
from app.services.caching import kept
from app.services.carried import is_slow, with_flash
from app.services.stays import stays_of
from app.store.instants import from_us
from app.store.queries import Board, TankView
from app.store.tables import RoomRow, TankRow
from app.store.things import things

WRONG_SOLVENT = "wrong_solvent"
"""The problem that is reported, and the flag that its bath carries."""

Poured = tuple[tuple[str, datetime], ...]


def with_doubts(session: Session, room: RoomRow, board: Board) -> Board:
    """The board with a flag on each bath that a wrong solvent was poured into since its fill, or
    came into on parts so that it is to be treated as flammable."""
    board = replace(board, tanks=tuple(with_flash(session, room, board.tanks)))
    if not _poured(session, room):
        return board
    return replace(board, tanks=tuple(_flagged(session, room, tank) for tank in board.tanks))


def poured_at(session: Session, room: RoomRow, tank: str, filled_at: datetime) -> datetime | None:
    """When a wrong solvent first went into a tank's bath since it was filled; None where none."""
    poured = _poured(session, room)
    if not poured:
        return None
    stays = stays_of(session, room, tank, filled_at)
    times = (at for key, at in poured if any(stay.holds(key, at) for stay in stays))
    return min(times, default=None)


def mixed_into(
    session: Session, room: RoomRow, tank: str, filled_at: datetime
) -> list[IncidentState]:
    """What was reported as poured into a tank's bath since it was filled."""
    if poured_at(session, room, tank, filled_at) is None:
        return []
    found: list[IncidentState] = list(things(session, room.id or 0, INCIDENT).values())
    stays = stays_of(session, room, tank, filled_at)
    return [
        one
        for one in found
        if one.problem == WRONG_SOLVENT and one.at is not None
        if any(stay.holds(one.tank, one.at) for stay in stays)
    ]


def spoiled_by(session: Session, room: RoomRow, tank: str) -> list[IncidentState]:
    """What went into a tank's bath so that it fits no drum of a known waste; empty where nothing.

    A flammable solvent in a slow bath is none of it: that mixture has a stream of its own, and the
    matrix asks about it. A release of the tank changes nothing; a new fill does, and so does a
    report that is withdrawn.
    """
    row = session.get(TankRow, (room.id, tank))
    if row is None:
        return []
    found = mixed_into(session, room, tank, from_us(row.fill_started_at_us))
    if not is_slow(row.solvent):
        return found
    return [
        one
        for one in found
        if one.solvent not in SOLVENTS or not SOLVENTS[one.solvent].is_flammable
    ]


def takes_spoiled(session: Session, room: RoomRow, drum: DrumState, tank: str) -> bool:
    """Whether a drum is one for the spoiled bath of a tank: for unknown waste, with nothing in it
    but this bath."""
    row = session.get(TankRow, (room.id, tank))
    return row is not None and drum.is_apart_for(tank, from_us(row.fill_started_at_us))


def _poured(session: Session, room: RoomRow) -> Poured:
    """Tank and time of each wrong solvent that was reported, whether its incident is closed or
    not; one statement, none where nothing has changed."""
    assert room.id is not None
    room_id = room.id

    def read() -> Poured:
        found: list[IncidentState] = list(things(session, room_id, INCIDENT).values())
        return tuple(
            (one.tank, one.at)
            for one in found
            if one.problem == WRONG_SOLVENT and one.tank and one.at is not None
        )

    return kept(session, room_id, "wrong solvents", room.version, read)


def _flagged(session: Session, room: RoomRow, tank: TankView) -> TankView:
    if poured_at(session, room, tank.key, tank.fill_started_at) is None:
        return tank
    return replace(tank, flags=(*tank.flags, WRONG_SOLVENT))
