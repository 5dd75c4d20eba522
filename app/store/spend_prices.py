"""What the room has paid, summed: for what is still to come."""

from datetime import datetime

from sqlalchemy import func
from sqlalchemy import select as sql_select
from sqlmodel import Session

from app.domain.spend.cost_lines import DISPOSAL, LABOUR
from app.store.instants import to_us
from app.store.spend_lines import LINES, WEEKS


def bought_since(
    session: Session, room_id: int, week: int, at: datetime
) -> list[tuple[str, int, float]]:
    """Cents and litres bought of each solvent behind an instant of a week, where it cost."""
    query = sql_select(LINES.c.solvent, func.sum(LINES.c.cents), func.sum(LINES.c.quantity)).where(
        LINES.c.room_id == room_id, LINES.c.side == "bought", LINES.c.week >= week,
        LINES.c.at_us > to_us(at), LINES.c.solvent != "", LINES.c.unit == "L", LINES.c.cents != 0,
    )  # fmt: skip
    rows = session.execute(query.group_by(LINES.c.solvent).order_by(LINES.c.solvent))
    return [(solvent, int(cents), float(litres)) for solvent, cents, litres in rows]


def swap_minutes_since(session: Session, room_id: int, at: datetime) -> list[float]:
    """The minutes of labour that each swap behind an instant was charged."""
    query = sql_select(LINES.c.quantity).where(
        LINES.c.room_id == room_id, LINES.c.side == "cost", LINES.c.category == LABOUR,
        LINES.c.what == "Swap", LINES.c.at_us > to_us(at),
    )  # fmt: skip
    return list(session.scalars(query.order_by(LINES.c.at_us)))


def disposed(session: Session, room_id: int) -> tuple[int, float]:
    """Cents and kilograms of all waste that was ever charged by its mass."""
    query = sql_select(func.sum(WEEKS.c.cents), func.sum(WEEKS.c.quantity)).where(
        WEEKS.c.room_id == room_id, WEEKS.c.side == "cost", WEEKS.c.category == DISPOSAL,
        WEEKS.c.unit == "kg",
    )  # fmt: skip
    cents, kg = session.execute(query).one()
    return int(cents or 0), float(kg or 0.0)
