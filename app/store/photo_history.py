"""Reading the photos of a position, the newest first."""

import json
from dataclasses import dataclass, replace
from datetime import datetime
from typing import cast

from sqlalchemy import Select, select
from sqlmodel import Session, col

from app.domain.roomlog.kinds.inspections import COMPONENT, InspectionPhoto, PhotoLabelled
from app.store.instants import from_us
from app.store.tables import EntryRow, LinkRow


@dataclass(frozen=True)
class PastPhoto:
    """A photo of a position, at an inspection; `look` says at which look, empty where none said."""

    photo: str
    view: str
    inspection: str
    at: datetime
    by: str
    look: str = ""


def photo_history(
    session: Session, room_id: int, component: str, limit: int = 24, skip: int = 0
) -> list[PastPhoto]:
    """The photos of a position, the newest first; those taken back are left out."""
    query = _of(room_id, component, InspectionPhoto.kind).offset(skip).limit(limit)
    found = []
    for fields, moment_us, by in session.execute(query):
        values = cast(dict[str, str], json.loads(fields))
        found.append(
            PastPhoto(
                values["photo"],
                values["view"],
                values["inspection"],
                from_us(moment_us),
                by,
                values.get("look") or "",
            )
        )
    if not found:
        return found
    labels = _labels(session, room_id, component)
    return [replace(one, view=labels.get((one.inspection, one.photo), one.view)) for one in found]


def _labels(session: Session, room_id: int, component: str) -> dict[tuple[str, str], str]:
    """The labels that were given later, by inspection and photo; the last one stands."""
    rows = session.execute(_of(room_id, component, PhotoLabelled.kind))
    found: dict[tuple[str, str], str] = {}
    for fields, _, _ in rows:  # the newest first
        values = cast(dict[str, str], json.loads(fields))
        found.setdefault((values["inspection"], values["photo"]), values["view"])
    return found


def _of(room_id: int, component: str, kind: str) -> Select[str, int, str]:
    return (
        select(col(EntryRow.fields), col(EntryRow.moment_us), col(EntryRow.by))
        .join(LinkRow, col(LinkRow.entry_id) == col(EntryRow.id))
        .where(
            col(LinkRow.room_id) == room_id,
            col(LinkRow.thing) == COMPONENT,
            col(LinkRow.key) == component,
            col(EntryRow.kind) == kind,
            col(EntryRow.voided_by).is_(None),
        )
        .order_by(col(LinkRow.moment_us).desc(), col(LinkRow.sequence).desc())
    )
