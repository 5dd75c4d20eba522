"""Reading the things of a room: their states, and the entries in their books."""

from collections.abc import Sequence
from functools import cache
from typing import Any, cast

from pydantic import TypeAdapter
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.domain.books import THINGS
from app.store.remembering import remember
from app.store.tables import EntryRow, LinkRow, ThingRow


@cache
def adapter(thing: str) -> TypeAdapter[Any]:
    """What turns the states of a kind of thing into JSON and back."""
    return TypeAdapter(THINGS[thing].state)


def thing(session: Session, room_id: int, kind: str, key: str) -> Any | None:
    """The state of the thing of that key; None where no entry names it."""

    def read() -> Any | None:
        row = session.get(ThingRow, (room_id, kind, key))
        return None if row is None else adapter(kind).validate_json(row.state)

    return remember(session, ("thing", room_id, kind, key), read)


def things(session: Session, room_id: int, kind: str, *, only_open: bool = False) -> dict[str, Any]:
    """The states of all things of a kind by key, in the order of their last entries."""
    found = remember(
        session, ("things", room_id, kind, only_open),
        lambda: _things(session, room_id, kind, only_open),
    )  # fmt: skip
    return dict(found)


def _things(session: Session, room_id: int, kind: str, only_open: bool) -> dict[str, Any]:
    query = sql_select(col(ThingRow.key), col(ThingRow.state)).where(
        col(ThingRow.room_id) == room_id, col(ThingRow.thing) == kind
    )
    if only_open:
        query = query.where(col(ThingRow.is_open).is_(True))
    rows = session.execute(query.order_by(col(ThingRow.moment_us), col(ThingRow.sequence)))
    read = adapter(kind).validate_json
    return {key: read(state) for key, state in rows}


def book(
    session: Session, room_id: int, kind: str, key: str, limit: int = 200
) -> Sequence[EntryRow]:
    """The latest entries in a thing's book, the newest first, those no longer counting included."""
    query = (
        select(EntryRow)
        .join(LinkRow, cast(Any, col(LinkRow.entry_id) == col(EntryRow.id)))
        .where(LinkRow.room_id == room_id, LinkRow.thing == kind, LinkRow.key == key)
        .order_by(col(LinkRow.moment_us).desc(), col(LinkRow.sequence).desc())
    )
    return session.exec(query.limit(limit)).all()
