"""What the tanks were filled with by the log, and when: few entries tell it, and many ask."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Swap, Tank
from app.services.caching import kept
from app.services.entries import entry_of
from app.store.tables import EntryRow, RoomRow


@dataclass(frozen=True)
class Fill:
    """A bath that began in a tank.

    Attributes:
        solvent: as its entry names it; empty where it names none.
        source: the tank that the bath was moved from; empty where it was fresh.
    """

    at: datetime
    solvent: str = ""
    source: str = ""


Fills = Mapping[str, Sequence[Fill]]
"""The fills of the tanks by their keys, in order."""


def tank_fills(session: Session, room_id: int) -> Fills:
    """The fills of all tanks; worked out anew where something was entered."""
    version = session.get_one(RoomRow, room_id).version
    return kept(session, room_id, "fills of tanks", version, lambda: _read(session, room_id))


def _read(session: Session, room_id: int) -> Fills:
    rows = session.exec(
        select(EntryRow)
        .where(EntryRow.room_id == room_id, col(EntryRow.voided_by).is_(None))
        .where(col(EntryRow.kind).in_((Swap.kind, Tank.kind)))
        .order_by(col(EntryRow.moment_us), col(EntryRow.rank), col(EntryRow.sequence))
    )
    found: dict[str, list[Fill]] = {}
    for entry in map(entry_of, rows):
        if isinstance(entry, Swap | Tank):
            source = getattr(entry, "from_tank", None) or ""
            found.setdefault(entry.tank, []).append(Fill(entry.at, entry.solvent or "", source))
    return {key: tuple(sorted(fills, key=lambda one: one.at)) for key, fills in found.items()}
