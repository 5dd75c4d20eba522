"""Storing and reading the roll-ups of costs."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import case, delete, func, insert
from sqlalchemy import select as sql_select
from sqlmodel import Session

from app.domain.spend.lines import CostLine
from app.domain.spend.parts import Line
from app.store.instants import from_us, to_us
from app.store.spend_tables import SpendLineRow, SpendStateRow, SpendWeekRow

SOME = 400
LINES: Any = SpendLineRow.__table__  # type: ignore[attr-defined]
STATES: Any = SpendStateRow.__table__  # type: ignore[attr-defined]
WEEKS: Any = SpendWeekRow.__table__  # type: ignore[attr-defined]
NAMES = ("entry", "category", "cents", "what", "basis", "tank", "item", "solvent", "quantity",
         "unit", "purpose")  # fmt: skip


def put_lines(
    session: Session, room_id: int, part: str, lines: Iterable[tuple[int, Line, bool]]
) -> None:
    """Store a part's lines: the week of each, the line, and whether a swap caused it."""
    rows = [
        {
            **{name: getattr(line.line, name) for name in NAMES},
            "room_id": room_id, "part": part, "week": week, "side": line.side,
            "at_us": to_us(line.line.at), "swap": line.swap, "is_swap": is_swap,
        }
        for week, line, is_swap in lines
    ]  # fmt: skip
    if rows:
        session.execute(insert(LINES), rows)


def drop_lines(session: Session, room_id: int, parts: Sequence[str]) -> set[int]:
    """Drop all lines of these parts; the weeks they stood in."""
    weeks: set[int] = set()
    for start in range(0, len(parts), SOME):
        theirs = LINES.c.room_id == room_id, LINES.c.part.in_(parts[start : start + SOME])
        weeks |= set(session.scalars(sql_select(LINES.c.week).where(*theirs).distinct()))
        session.execute(delete(LINES).where(*theirs))
    return weeks


def lines_of_week(session: Session, room_id: int, week: int, side: str) -> tuple[CostLine, ...]:
    """A week's lines of a side, in the order of time."""
    columns = [LINES.c[name] for name in NAMES]
    query = sql_select(LINES.c.at_us, *columns).where(
        LINES.c.room_id == room_id, LINES.c.week == week, LINES.c.side == side
    )
    rows = session.execute(query.order_by(LINES.c.at_us, LINES.c.entry, LINES.c.tank, LINES.c.id))
    return tuple(
        CostLine(entry, from_us(at_us), category, cents, what, basis, tank, item, solvent,
                 quantity, unit, purpose)
        for at_us, entry, category, cents, what, basis, tank, item, solvent, quantity, unit,
        purpose in rows
    )  # fmt: skip


def sum_weeks(session: Session, room_id: int, weeks: Iterable[int]) -> None:
    """Sum the lines of these weeks anew."""
    keys = [LINES.c[name] for name in ("room_id", "week", "side", "category", "is_swap", "solvent",
                                       "unit")]  # fmt: skip
    is_item = case((LINES.c.item != "", True), else_=False)
    wanted = sorted(weeks)
    for start in range(0, len(wanted), SOME):
        some = wanted[start : start + SOME]
        session.execute(delete(WEEKS).where(WEEKS.c.room_id == room_id, WEEKS.c.week.in_(some)))
        sums = (
            sql_select(*keys, is_item, func.count(), func.sum(LINES.c.cents),
                       func.sum(LINES.c.quantity))
            .where(LINES.c.room_id == room_id, LINES.c.week.in_(some))
            .group_by(*keys, is_item)
        )  # fmt: skip
        names = [*(key.name for key in keys), "is_item", "lines", "cents", "quantity"]
        session.execute(insert(WEEKS).from_select(names, sums))


def states_of(
    session: Session, room_id: int, parts: Sequence[str], before: int | None = None
) -> dict[str, Any]:
    """The last state of each part, of those before a week."""
    found: dict[str, Any] = {}
    for start in range(0, len(parts), SOME):
        theirs = [STATES.c.room_id == room_id, STATES.c.part.in_(parts[start : start + SOME])]
        if before is not None:
            theirs.append(STATES.c.week < before)
        last = sql_select(STATES.c.part, func.max(STATES.c.week).label("week")).where(*theirs)
        newest = last.group_by(STATES.c.part).subquery()
        query = STATES.select().join(
            newest, (STATES.c.part == newest.c.part) & (STATES.c.week == newest.c.week)
        )
        for row in session.execute(query.where(STATES.c.room_id == room_id)):
            found[row.part] = row
    return found


def states_from(session: Session, room_id: int, part: str, week: int) -> dict[int, str]:
    """The states of a part from a week on."""
    query = sql_select(STATES.c.week, STATES.c.state).where(
        STATES.c.room_id == room_id, STATES.c.part == part, STATES.c.week >= week
    )
    return {row.week: row.state for row in session.execute(query)}


def put_states(session: Session, rows: Sequence[Mapping[str, Any]]) -> None:
    """Store states, in the place of those of the same part and week."""
    for start in range(0, len(rows), SOME):
        some = rows[start : start + SOME]
        by_week: dict[tuple[int, int], list[str]] = {}
        for row in some:
            by_week.setdefault((row["room_id"], row["week"]), []).append(row["part"])
        for (room_id, week), parts in by_week.items():
            drop_states(session, room_id, parts, week)
        session.execute(insert(STATES), list(some))


def drop_states(session: Session, room_id: int, parts: Sequence[str], week: int) -> None:
    """Drop the states of parts in a week."""
    session.execute(
        delete(STATES).where(
            STATES.c.room_id == room_id, STATES.c.part.in_(parts), STATES.c.week == week
        )
    )


def drop_weeks_of(session: Session, room_id: int, part: str, weeks: Sequence[int]) -> None:
    """Drop a part's lines of some weeks."""
    for start in range(0, len(weeks), SOME):
        some = weeks[start : start + SOME]
        session.execute(
            delete(LINES).where(
                LINES.c.room_id == room_id, LINES.c.part == part, LINES.c.week.in_(some)
            )
        )


def drop_from(session: Session, room_id: int, week: int) -> set[int]:
    """Drop all lines and states from a week on; the weeks that had any."""
    theirs = LINES.c.room_id == room_id, LINES.c.week >= week
    weeks = set(session.scalars(sql_select(LINES.c.week).where(*theirs).distinct()))
    session.execute(delete(LINES).where(*theirs))
    session.execute(delete(STATES).where(STATES.c.room_id == room_id, STATES.c.week >= week))
    return weeks
