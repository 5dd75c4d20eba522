"""Storing and reading the roll-ups of costs."""

from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from importlib import import_module
from typing import Any

from sqlalchemy import bindparam, case, delete, func, insert
from sqlalchemy import select as sql_select
from sqlmodel import Session

from app.domain.spend.cost_folds import Line
from app.domain.spend.cost_lines import CostLine
from app.store.instants import from_us, to_us
from app.store.spend.tables import SpendLineRow, SpendStateRow, SpendWeekRow

SOME = 400
LINES: Any = SpendLineRow.__table__  # type: ignore[attr-defined]
STATES: Any = SpendStateRow.__table__  # type: ignore[attr-defined]
WEEKS: Any = SpendWeekRow.__table__  # type: ignore[attr-defined]
NAMES = ("entry", "category", "cents", "what", "basis", "tank", "item", "solvent", "quantity",
         "unit", "purpose")  # fmt: skip
SUM_KEYS = ("week", "side", "category", "is_swap", "solvent", "unit", "is_item")
SUMMED = ("lines", "cents", "quantity")
ROWS_OF = (
    sql_select(*(column for column in LINES.c if column.name != "id"))
    .where(
        LINES.c.room_id == bindparam("room_id"),
        LINES.c.part.in_(bindparam("parts", expanding=True)),
    )
    .order_by(LINES.c.id)
)


@cache
def _upsert(dialect: str, table: Any, added: tuple[str, ...], put: tuple[str, ...]) -> Any:
    # Made once: putting such a statement together takes longer than carrying it out.
    new = import_module(f"sqlalchemy.dialects.{dialect}").insert(table)  # each takes its time
    values = {name: table.c[name] + new.excluded[name] for name in added}
    values |= {name: new.excluded[name] for name in put}
    return new.on_conflict_do_update(index_elements=list(table.primary_key), set_=values)


def add_up(
    session: Session, table: Any, names: tuple[str, ...], rows: Sequence[Mapping[str, Any]]
) -> None:
    """Add rows' values of these names to the rows of the same keys, or store them."""
    if rows:
        dialect = session.get_bind().dialect.name
        session.execute(_upsert(dialect, table, names, ()), list(rows))


def line_row(room_id: int, part: str, week: int, line: Line, is_swap: bool) -> dict[str, Any]:
    """A part's line as it is stored; `is_swap`: a swap caused it."""
    return {
        **{name: getattr(line.line, name) for name in NAMES},
        "room_id": room_id, "part": part, "week": week, "side": line.side,
        "at_us": to_us(line.line.at), "swap": line.swap, "is_swap": is_swap,
    }  # fmt: skip


def put_lines(session: Session, rows: Sequence[Mapping[str, Any]]) -> None:
    """Store lines."""
    if rows:
        session.execute(insert(LINES), list(rows))


def rows_of(session: Session, room_id: int, parts: Sequence[str]) -> dict[str, list[Any]]:
    """The lines of these parts as they are stored, in the order in which they were."""
    found: dict[str, list[Any]] = {}
    for start in range(0, len(parts), SOME):
        some = {"room_id": room_id, "parts": parts[start : start + SOME]}
        for row in session.execute(ROWS_OF, some):
            found.setdefault(row.part, []).append(dict(row._mapping))
    return found


def drop_lines(session: Session, room_id: int, parts: Sequence[str]) -> None:
    """Drop all lines of these parts."""
    for start in range(0, len(parts), SOME):
        some = LINES.c.part.in_(parts[start : start + SOME])
        session.execute(delete(LINES).where(LINES.c.room_id == room_id, some))


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
    keys = [LINES.c[name] for name in ("room_id", *SUM_KEYS[:-1])]
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
        names = ["room_id", *SUM_KEYS, *SUMMED]
        session.execute(insert(WEEKS).from_select(names, sums))


def sum_more(
    session: Session, room_id: int, came: Iterable[Mapping[str, Any]],
    gone: Iterable[Mapping[str, Any]],
) -> None:  # fmt: skip
    """Take lines that came into the sums of their weeks, and those that are gone out of them."""
    sums: dict[tuple[Any, ...], list[Any]] = {}
    for sign, rows in ((1, came), (-1, gone)):
        for row in rows:
            key = (*(row[name] for name in SUM_KEYS[:-1]), row["item"] != "")
            own = sums.setdefault(key, [0, 0, 0.0])
            own[0] += sign
            own[1] += sign * row["cents"]
            own[2] += sign * row["quantity"]
    add_up(
        session, WEEKS, SUMMED,
        [
            {"room_id": room_id, **dict(zip(SUM_KEYS, key, strict=True)),
             **dict(zip(SUMMED, own, strict=True))}
            for key, own in sums.items() if any(own)
        ],
    )  # fmt: skip
    if any(own[0] < 0 for own in sums.values()):
        session.execute(delete(WEEKS).where(WEEKS.c.room_id == room_id, WEEKS.c.lines == 0))


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


def states_in(session: Session, room_id: int, parts: Sequence[str], week: int) -> dict[str, str]:
    """The states of parts in a week."""
    found: dict[str, str] = {}
    for start in range(0, len(parts), SOME):
        query = sql_select(STATES.c.part, STATES.c.state).where(
            STATES.c.room_id == room_id, STATES.c.week == week,
            STATES.c.part.in_(parts[start : start + SOME]),
        )  # fmt: skip
        found |= {row.part: row.state for row in session.execute(query)}
    return found


def states_from(session: Session, room_id: int, part: str, week: int) -> dict[int, str]:
    """The states of a part from a week on."""
    query = sql_select(STATES.c.week, STATES.c.state).where(
        STATES.c.room_id == room_id, STATES.c.part == part, STATES.c.week >= week
    )
    return {row.week: row.state for row in session.execute(query)}


def put_states(session: Session, rows: Sequence[Mapping[str, Any]]) -> None:
    """Store states, in the place of those of the same part and week."""
    if not rows:
        return
    dialect, names = session.get_bind().dialect.name, ("moment_us", "rank", "sequence", "state")
    session.execute(_upsert(dialect, STATES, (), names), list(rows))


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
