"""The part lots of a room: the latest ones, and which are offered for the next act."""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import select
from sqlmodel import Session, col

from app.domain.lot_keys import PART_LOT, lot_key
from app.domain.roomlog.kinds import Wash
from app.domain.roomlog.kinds.curing import Cure
from app.domain.roomlog.kinds.part_lots import PartLot
from app.store.instants import from_us, to_us
from app.store.tables import EntryRow, LinkRow

OFFERED, OFFERED_FOR = 4, timedelta(hours=24)
LOOKED_AT = 200  # of the latest entries of a kind
BY_LOT = (PartLot.kind, Wash.kind, Cure.kind)


@dataclass(frozen=True)
class LotLine:
    """A part lot with the last entry that names it: when, of which kind, where."""

    key: str
    lot: str
    at: datetime
    kind: str
    tank: str = ""
    resin: str = ""
    station: str = ""


def has_lots(session: Session, room_id: int) -> bool:
    """Whether any entry of the room names a part lot: rooms that use none are not asked."""
    query = select(col(LinkRow.entry_id)).where(
        col(LinkRow.room_id) == room_id, col(LinkRow.thing) == PART_LOT
    )
    return session.execute(query.limit(1)).first() is not None


def latest(
    session: Session, room_id: int, now: datetime, most: int = 30, since: datetime | None = None
) -> list[LotLine]:
    """The part lots that were named last, the latest first, each once."""
    found: dict[str, LotLine] = {}
    for kind in BY_LOT:
        for line in _lines(session, room_id, kind, now, since):
            known = found.get(line.key)
            if known is None or line.at > known.at:
                found[line.key] = line
    return sorted(found.values(), key=lambda one: one.at, reverse=True)[:most]


def _lines(
    session: Session, room_id: int, kind: str, now: datetime, since: datetime | None
) -> list[LotLine]:
    columns: tuple[Any, ...] = (EntryRow.at_us, EntryRow.tank, EntryRow.resin, EntryRow.fields)
    query = (
        select(*columns)
        .where(
            col(EntryRow.room_id) == room_id, col(EntryRow.kind) == kind,
            col(EntryRow.at_us) <= to_us(now), col(EntryRow.voided_by).is_(None),
        )
        .order_by(col(EntryRow.at_us).desc(), col(EntryRow.id).desc())
        .limit(LOOKED_AT)
    )  # fmt: skip
    if since is not None:
        query = query.where(col(EntryRow.at_us) >= to_us(since))
    named = [(row, json.loads(row.fields)) for row in session.execute(query)]
    return [
        LotLine(
            lot_key(lot), lot, from_us(row.at_us), kind, row.tank or "", row.resin or "",
            fields.get("station", ""),
        )
        for row, fields in named
        if (lot := fields.get("lot")) and lot_key(lot)
    ]  # fmt: skip


def offered(
    session: Session, room_id: int, now: datetime, tank: str = "", resin: str = ""
) -> Sequence[str]:
    """The lots of the last day that come next at a tank or under the light, the likeliest first.

    Those of this tank, or of this resin, come first; one that was cured last comes not at all.
    """
    lines = latest(session, room_id, now, LOOKED_AT, now - OFFERED_FOR)
    open_ = [one for one in lines if one.kind != Cure.kind]
    fitting = [one for one in open_ if not resin or one.resin == resin]
    fitting.sort(key=lambda one: one.tank != tank) if tank else None
    return [one.lot for one in fitting[:OFFERED]]
