"""Tanks and resins as their entries define them, the latest word winning."""

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import delete
from sqlmodel import Session, select

from app.domain.roomlog.checks import RoomContext, TankSpan
from app.domain.roomlog.kinds import Resin, Tank, TankChange
from app.services.entries import counting_of_kind
from app.store.instants import from_us
from app.store.tables import ResinRow, TankRow


@dataclass
class TankDefinition:
    """What a tank is called, when it came into use and whether it still is."""

    name: str
    started_at: datetime
    capacity_l: float
    solvent: str
    is_retired: bool = False


def define_resins(session: Session, room_id: int) -> None:
    """Write the room's resins afresh."""
    session.execute(delete(ResinRow).where(ResinRow.room_id == room_id))  # type: ignore[arg-type]
    resins = {}
    for entry in counting_of_kind(session, room_id, Resin.kind):
        if isinstance(entry, Resin):
            resins[entry.resin] = entry
    session.add_all(
        ResinRow(
            room_id=room_id,
            key=resin.resin,
            name=resin.name,
            density_g_ml=resin.density_g_ml,
            is_filled=bool(resin.filled),
            filler_percent=resin.filler_percent,
        )
        for resin in resins.values()
    )


def tank_definitions(session: Session, room_id: int) -> dict[str, TankDefinition]:
    """The room's tanks in the order in which they came into use."""
    tanks: dict[str, TankDefinition] = {}
    for entry in counting_of_kind(session, room_id, Tank.kind, TankChange.kind):
        if isinstance(entry, Tank):
            started_at = tanks[entry.tank].started_at if entry.tank in tanks else entry.at
            tanks[entry.tank] = TankDefinition(
                entry.name, started_at, entry.capacity_l, entry.solvent
            )
        elif isinstance(entry, TankChange) and entry.tank in tanks:
            tank = tanks[entry.tank]
            tank.name = entry.name or tank.name
            tank.is_retired = tank.is_retired if entry.is_retired is None else entry.is_retired
    return tanks


def context(session: Session, room_id: int) -> RoomContext:
    """What the room knows, for checking entries before they are stored."""
    tanks = session.exec(
        select(TankRow.key, TankRow.started_at_us, TankRow.capacity_l).where(
            TankRow.room_id == room_id
        )
    )
    resins = session.exec(select(ResinRow.key).where(ResinRow.room_id == room_id))
    return RoomContext(
        tanks={key: TankSpan(from_us(start_us), litres) for key, start_us, litres in tanks},
        resins=set(resins),
    )
