"""The states of the things that a page of the log names, read at once."""

from collections.abc import Iterable
from typing import Any

from sqlalchemy import tuple_
from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.store.tables import ResinRow, TankRow, ThingRow
from app.store.things import adapter


def states_of(
    session: Session, room_id: int, pairs: Iterable[tuple[str, str]]
) -> dict[tuple[str, str], Any]:
    """The states of things by kind and key; what has no book, or no such thing, is left out."""
    wanted = sorted({pair for pair in pairs if pair[0] in THINGS})
    if not wanted:
        return {}
    rows = session.exec(
        select(ThingRow).where(
            ThingRow.room_id == room_id,
            tuple_(col(ThingRow.thing), col(ThingRow.key)).in_(wanted),
        )
    )
    return {(row.thing, row.key): adapter(row.thing).validate_json(row.state) for row in rows}


def names_of_tanks(session: Session, room_id: int) -> dict[str, str]:
    """The names of the room's tanks by key, those out of use as well."""
    rows = session.exec(select(TankRow.key, TankRow.name).where(TankRow.room_id == room_id))
    return dict(rows.all())


def names_of_resins(session: Session, room_id: int) -> dict[str, str]:
    """The names of the room's resins by key."""
    rows = session.exec(select(ResinRow.key, ResinRow.name).where(ResinRow.room_id == room_id))
    return dict(rows.all())
