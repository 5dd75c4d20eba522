"""Reading the photos of a position, the newest first."""

import json
from dataclasses import dataclass
from datetime import datetime
from typing import cast

from sqlalchemy import select
from sqlmodel import Session, col

from app.domain.roomlog.kinds.inspections import COMPONENT, InspectionPhoto
from app.store.instants import from_us
from app.store.tables import EntryRow, LinkRow


@dataclass(frozen=True)
class PastPhoto:
    """A photo of a position, at an inspection."""

    photo: str
    view: str
    inspection: str
    at: datetime
    by: str


def photo_history(
    session: Session, room_id: int, component: str, limit: int = 24, skip: int = 0
) -> list[PastPhoto]:
    """The photos of a position, the newest first; those taken back are left out."""
    query = (
        select(col(EntryRow.fields), col(EntryRow.moment_us), col(EntryRow.by))
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(
            col(LinkRow.room_id) == room_id,
            col(LinkRow.thing) == COMPONENT,
            col(LinkRow.key) == component,
            col(EntryRow.kind) == InspectionPhoto.kind,
            col(EntryRow.voided_by).is_(None),
        )
        .order_by(col(LinkRow.moment_us).desc(), col(LinkRow.sequence).desc())
        .offset(skip)
        .limit(limit)
    )
    found = []
    for fields, moment_us, by in session.execute(query):
        values = cast(dict[str, str], json.loads(fields))
        found.append(
            PastPhoto(values["photo"], values["view"], values["inspection"], from_us(moment_us), by)
        )
    return found
