"""How far a file from a browser is read: noted for the other servers on the same database.

On an embedded database nobody else asks: one server alone has it.
"""

from datetime import datetime
from typing import Any

from sqlalchemy import delete, update
from sqlmodel import Session

from app.store.engine import Store
from app.store.import_tables import ImportJobRow
from app.store.instants import to_us

_TABLE: Any = ImportJobRow.__table__  # type: ignore[attr-defined]


def note_job(store: Store, token: str, room_id: int, owner: str, now: datetime, state: str) -> None:
    """Note that a server begins to read a file, to read it again, or to store it."""
    if store.is_sqlite:
        return
    from sqlalchemy.dialects.postgresql import insert  # noqa: PLC0415  (it takes its time)

    said = {"room_id": room_id, "owner": owner, "state": state, "phase": "Reading",
            "done": 0, "total": 0, "stored": 0, "run": "", "is_cancelled": False,
            "touched_at_us": to_us(now)}  # fmt: skip
    new = insert(_TABLE).values(token=token, **said)
    with store.writer.begin() as connection:
        connection.execute(new.on_conflict_do_update(index_elements=["token"], set_=said))


def tell_job(store: Store, token: str, owner: str, now: datetime, **said: Any) -> bool:
    """Note how far it is; whether somebody let go of it at another server.

    It goes by a connection of its own, since the room may be held for storing meanwhile.
    """
    if store.is_sqlite:
        return False
    mine = (_TABLE.c.token == token) & (_TABLE.c.owner == owner)
    told = update(_TABLE).where(mine).values(**said, touched_at_us=to_us(now))
    with store.writer.begin() as connection:
        return bool(connection.scalar(told.returning(_TABLE.c.is_cancelled)))


def told_job(session: Session, token: str) -> ImportJobRow | None:
    """What a server said last of a file that it reads."""
    return session.get(ImportJobRow, token, populate_existing=True)


def cancel_job(store: Store, token: str) -> None:
    """Have the server that reads a file let go of it."""
    with store.writer.begin() as connection:
        connection.execute(update(_TABLE).where(_TABLE.c.token == token).values(is_cancelled=True))


def forget_jobs(store: Store, before: datetime, token: str = "") -> None:
    """Forget one, or what nobody has got on with since then."""
    if not store.is_sqlite:
        old = _TABLE.c.token == token if token else _TABLE.c.touched_at_us < to_us(before)
        with store.writer.begin() as connection:
            connection.execute(delete(_TABLE).where(old))
