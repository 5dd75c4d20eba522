"""What the balance of solvents asks of the log of the baths."""

import json
from collections.abc import Sequence
from typing import Any

from sqlalchemy import case, func
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Withdrawal
from app.store.spend import WASHES
from app.store.tables import EntryRow

MOST_NEWS = 300


def counting_between(
    session: Session, room_id: int, kinds: Sequence[str], since_us: int | None, until_us: int
) -> Sequence[Any]:
    """Plain rows of entries of these kinds that count, between two instants, in order of truth."""
    table: Any = EntryRow.__table__  # type: ignore[attr-defined]
    query = table.select().where(
        table.c.room_id == room_id, table.c.kind.in_(kinds), table.c.voided_by.is_(None),
        table.c.at_us < until_us,
    )  # fmt: skip
    if since_us is not None:
        query = query.where(table.c.at_us >= since_us)
    # Sorted here: asked for in this order, databases walk all of the log for it.
    rows = session.execute(query).all()
    return sorted(rows, key=lambda row: (row.moment_us, row.rank, row.sequence))


def last_entry(session: Session) -> int:
    """The id of the last entry that was stored, of whatever room."""
    return session.exec(select(func.max(EntryRow.id))).one() or 0


def has_changed_before(
    session: Session, room_id: int, last_id: int, until_us: int, kinds: Sequence[str]
) -> bool:
    """Whether what was stored behind an entry changes entries of these kinds before an instant.

    After very many it is taken to.
    """
    table: Any = EntryRow.__table__  # type: ignore[attr-defined]
    columns = [table.c[name] for name in ("room_id", "kind", "at_us", "corrects", "fields")]
    query = sql_select(*columns).where(table.c.id > last_id).limit(MOST_NEWS + 1)
    news = session.execute(query).all()
    rows = [row[1:] for row in news if row[0] == room_id]
    if len(news) > MOST_NEWS or any(kind in kinds and at < until_us for kind, at, _, _ in rows):
        return True
    gone = [target for _, _, target, _ in rows if target]
    gone += [json.loads(text)["withdraws"] for kind, _, _, text in rows if kind == Withdrawal.kind]
    some = select(EntryRow.id).where(
        EntryRow.room_id == room_id, col(EntryRow.uid).in_(gone), col(EntryRow.kind).in_(kinds),
        EntryRow.at_us < until_us,
    )  # fmt: skip
    return bool(gone) and session.exec(some.limit(1)).first() is not None


def flows(session: Session, room_id: int, first: int, last: int) -> Sequence[Any]:
    """By week and tank: micrograms evaporated, dragged out, and of resin that washes carried in."""
    resin_in = case((WASHES.c.kind == "wash", WASHES.c.resin_in_ug), else_=0)
    keys = WASHES.c.week, WASHES.c.tank
    query = sql_select(
        *keys, func.sum(WASHES.c.evaporated_ug), func.sum(WASHES.c.liquid_out_ug),
        func.sum(resin_in),
    ).where(WASHES.c.room_id == room_id, WASHES.c.week >= first, WASHES.c.week <= last)  # fmt: skip
    return session.execute(query.group_by(*keys).order_by(*keys)).all()
