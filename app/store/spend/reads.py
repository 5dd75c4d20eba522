"""What the spending pages ask of the log and of the estimates.

Also what the room has paid, summed, for what is still to come; and what the balance of solvents
asks of the log of the baths.
"""

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import and_, case, false, func, or_, tuple_
from sqlalchemy import select as sql_select
from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import Withdrawal
from app.domain.spend.cost_folds import FROM_SHELF
from app.domain.spend.cost_lines import DISPOSAL, LABOUR, CostLine
from app.store.chain_tables import ChainLinkRow, ChainRow
from app.store.instants import from_us, to_us
from app.store.spend.lines import LINES, STATES
from app.store.spend.lines import WEEKS as SUMS
from app.store.spend.tables import SpendPartsRow, SpendWashRow
from app.store.tables import EntryRow

COST_COLUMNS = ("entry", "category", "cents", "what", "basis", "tank", "item", "solvent",
                "quantity", "unit", "purpose")  # fmt: skip
UG = 1_000_000
DAY_US = 86_400_000_000
WASHES: Any = SpendWashRow.__table__  # type: ignore[attr-defined]

MOST_NEWS = 300


@dataclass(frozen=True, slots=True)
class WashRow:
    """What a tank's entries of a week did to one of its fills, by kind and resin.

    Attributes:
        resin_in_g, resin_out_g, evaporated_g: summed, as the estimator attributes them.
        liquid_out_g: bath liquid that left with the parts.
    """

    tank: str
    fill: int
    kind: str
    resin: str
    count: int
    resin_in_g: float
    resin_out_g: float
    evaporated_g: float
    liquid_out_g: float


@dataclass(frozen=True, slots=True)
class WeekSum:
    """Lines of a week that belong together, summed; `quantity` in `unit`."""

    week: int
    side: str
    category: str
    is_swap: bool
    solvent: str
    unit: str
    is_item: bool
    lines: int
    cents: int
    quantity: float


def week_sums(session: Session, room_id: int, first: int, last: int) -> list[WeekSum]:
    """The sums of weeks by their count, the last included."""
    columns = [SUMS.c[name] for name in WeekSum.__dataclass_fields__]
    query = sql_select(*columns).where(
        SUMS.c.room_id == room_id, SUMS.c.week >= first, SUMS.c.week <= last
    )
    return [WeekSum(*row) for row in session.execute(query.order_by(*columns[:7]))]


def weeks_with(session: Session, room_id: int, side: str) -> list[int]:
    """The weeks that have lines of a side."""
    query = sql_select(SUMS.c.week).where(SUMS.c.room_id == room_id, SUMS.c.side == side)
    return list(session.scalars(query.distinct().order_by(SUMS.c.week)))


def first_week(session: Session, room_id: int, side: str) -> int | None:
    """The first week that has lines of a side."""
    query = sql_select(func.min(SUMS.c.week)).where(SUMS.c.room_id == room_id, SUMS.c.side == side)
    return session.execute(query).scalar()


def week_washes(
    session: Session, room_id: int, weeks: Sequence[int]
) -> Iterator[tuple[int, WashRow]]:
    """What the entries of baths in these weeks did, summed."""
    names = ("tank", "fill", "kind", "resin", "count")
    masses = ("resin_in_ug", "resin_out_ug", "evaporated_ug", "liquid_out_ug")
    columns = [WASHES.c[name] for name in ("week", *names, *masses)]
    query = sql_select(*columns).where(WASHES.c.room_id == room_id, WASHES.c.week.in_(weeks))
    for week, tank, fill, kind, resin, count, *sums in session.execute(
        query.order_by(*columns[:5])
    ):
        yield week, WashRow(tank, fill, kind, resin, count, *(mass_ug / UG for mass_ug in sums))


def carried_in(
    session: Session, room_id: int, fills: Mapping[str, int], first: int, last: int
) -> dict[str, dict[str, float]]:
    """Grams that each resin carried into one fill of each tank, from week to week."""
    if not fills:
        return {}
    query = (
        sql_select(WASHES.c.tank, WASHES.c.resin, func.sum(WASHES.c.resin_in_ug))
        .where(
            WASHES.c.room_id == room_id, WASHES.c.kind == "wash", WASHES.c.week >= first,
            WASHES.c.week <= last, tuple_(WASHES.c.tank, WASHES.c.fill).in_(list(fills.items())),
        )
        .group_by(WASHES.c.tank, WASHES.c.resin)
        .order_by(WASHES.c.tank, WASHES.c.resin)
    )  # fmt: skip
    found: dict[str, dict[str, float]] = {}
    for tank, resin, mass_ug in session.execute(query):
        found.setdefault(tank, {})[resin] = max(0, int(mass_ug)) / UG
    return found


def last_fills(session: Session, room_id: int, first: int, last: int) -> dict[str, int]:
    """The fill that each tank's last week with a wash, of these weeks, began with."""
    of_washes = (
        WASHES.c.room_id == room_id, WASHES.c.kind == "wash", WASHES.c.week >= first,
        WASHES.c.week <= last,
    )  # fmt: skip
    newest = (
        sql_select(WASHES.c.tank, func.max(WASHES.c.week).label("week"))
        .where(*of_washes)
        .group_by(WASHES.c.tank)
        .subquery()
    )
    query = (
        sql_select(WASHES.c.tank, func.min(WASHES.c.fill))
        .join(newest, (WASHES.c.tank == newest.c.tank) & (WASHES.c.week == newest.c.week))
        .where(*of_washes)
        .group_by(WASHES.c.tank)
    )
    return {row[0]: row[1] for row in session.execute(query)}


def late_washes(session: Session, room_id: int, week: int) -> int:
    """Washes of a week whose bath was past the limit that its tank had then."""
    query = sql_select(func.sum(WASHES.c.late)).where(
        WASHES.c.room_id == room_id, WASHES.c.week == week, WASHES.c.kind == "wash"
    )
    return int(session.execute(query).scalar() or 0)


def parts_mass(session: Session, room_id: int, week: int) -> tuple[int, float]:
    """Washes of a week that were logged with a mass, and that mass in grams."""
    row = session.get(SpendPartsRow, (room_id, week))
    return (0, 0.0) if row is None else (row.washes, row.mass_ug / UG)


def bare_fills(session: Session, room_id: int, week: int | None) -> list[Sequence[Any]]:
    """Fills of a week, or of all, with what the shelf kept, that nothing taken from it goes with.

    What goes with a fill names the same swap, or the same tank within a day.
    """
    used = LINES.alias("used")
    of_shelf = used.c.room_id == room_id, used.c.item != "", used.c.side.in_(("cost", "owed"))
    same_swap = sql_select(used.c.id).where(
        *of_shelf, used.c.swap == LINES.c.swap, LINES.c.swap != ""
    )
    near = sql_select(used.c.id).where(
        *of_shelf, used.c.tank == LINES.c.tank, used.c.at_us >= LINES.c.at_us - DAY_US,
        used.c.at_us <= LINES.c.at_us + DAY_US,
    )  # fmt: skip
    query = _fills(room_id, "fill")
    if week is not None:
        query = query.where(LINES.c.week == week)
    query = query.where(LINES.c.category == FROM_SHELF, ~same_swap.exists(), ~near.exists())
    return [_fill(row) for row in session.execute(query)]


def fill_rows(session: Session, room_id: int, side: str) -> list[Sequence[Any]]:
    """All fills, in the order of time."""
    return [_fill(row) for row in session.execute(_fills(room_id, side))]


def _fills(room_id: int, side: str) -> Any:
    names = ("entry", "at_us", "tank", "solvent", "quantity", "swap", "purpose")
    columns = [LINES.c[name] for name in names]
    query = sql_select(*columns).where(LINES.c.room_id == room_id, LINES.c.side == side)
    return query.order_by(LINES.c.at_us, LINES.c.id)


def _fill(row: Sequence[Any]) -> Sequence[Any]:
    entry, at_us, *rest, purpose = row
    return entry, from_us(at_us), *rest, purpose == "swap"


def last_states(session: Session, room_id: int, kind: str) -> list[tuple[str, str]]:
    """The last state of each part of a kind, by its key."""
    of_kind = STATES.c.room_id == room_id, STATES.c.part.startswith(f"{kind}:", autoescape=True)
    newest = (
        sql_select(STATES.c.part, func.max(STATES.c.week).label("week"))
        .where(*of_kind)
        .group_by(STATES.c.part)
        .subquery()
    )
    query = (
        sql_select(STATES.c.part, STATES.c.state)
        .join(newest, (STATES.c.part == newest.c.part) & (STATES.c.week == newest.c.week))
        .where(STATES.c.room_id == room_id)
        .order_by(STATES.c.part)
    )
    return [(part.split(":", 1)[1], state) for part, state in session.execute(query)]


def cost_sums(
    session: Session, room_id: int, ends: Mapping[int, datetime | None]
) -> dict[tuple[str, str], int]:
    """What some weeks cost together, up to an instant of each or all of it: by cause and tank."""
    keys = LINES.c.category, LINES.c.tank
    query = sql_select(*keys, func.sum(LINES.c.cents)).where(*_cost_within(room_id, ends))
    rows = session.execute(query.group_by(*keys).order_by(*keys))
    return {(category, tank): int(cents) for category, tank, cents in rows}


def swaps_paid(session: Session, room_id: int, ends: Mapping[int, datetime | None]) -> int:
    """Swaps that these weeks paid solvent or labour for, a tank at most once a week."""
    of_swap = or_(
        LINES.c.purpose == "swap", and_(LINES.c.category == LABOUR, LINES.c.what == "Swap")
    )
    query = sql_select(LINES.c.week, LINES.c.tank).where(
        *_cost_within(room_id, ends), of_swap, LINES.c.tank != ""
    )
    found = sql_select(func.count()).select_from(query.distinct().subquery())
    return int(session.execute(found).scalar_one())


def _cost_within(room_id: int, ends: Mapping[int, datetime | None]) -> tuple[Any, ...]:
    whole = [week for week, end in ends.items() if end is None]
    within = [
        and_(LINES.c.week == week, LINES.c.at_us < to_us(end))
        for week, end in ends.items()
        if end is not None
    ]
    weeks = or_(false(), *([LINES.c.week.in_(whole)] if whole else []), *within)
    return LINES.c.room_id == room_id, LINES.c.side == "cost", weeks


def lines_before(
    session: Session, room_id: int, tank: str, at: datetime, side: str, most: int = 400
) -> list[CostLine]:
    """The last lines of a side about a tank before an instant, the oldest first."""
    columns = [LINES.c[name] for name in COST_COLUMNS]
    query = sql_select(LINES.c.at_us, *columns).where(
        LINES.c.room_id == room_id, LINES.c.tank == tank, LINES.c.at_us < to_us(at),
        LINES.c.side == side,
    )  # fmt: skip
    rows = session.execute(query.order_by(LINES.c.at_us.desc(), LINES.c.id.desc()).limit(most))
    return [
        CostLine(at=from_us(at_us), **dict(zip(COST_COLUMNS, values, strict=True)))
        for at_us, *values in reversed(rows.all())
    ]


def first_entry_at(session: Session, room_id: int) -> datetime | None:
    """When the first entry of the room that still counts says that something happened."""
    query = sql_select(col(EntryRow.at_us)).where(
        col(EntryRow.room_id) == room_id, col(EntryRow.voided_by).is_(None)
    )
    found = session.execute(query.order_by(col(EntryRow.at_us)).limit(1)).scalar()
    return None if found is None else from_us(found)


def rows_between(
    session: Session, room_id: int, kinds: Sequence[str], since: datetime, until: datetime
) -> Sequence[EntryRow]:
    """Entries of these kinds between two instants that still count, the oldest first."""
    query = select(EntryRow).where(
        EntryRow.room_id == room_id, col(EntryRow.kind).in_(kinds),
        EntryRow.at_us >= to_us(since), EntryRow.at_us < to_us(until),
        col(EntryRow.voided_by).is_(None),
    )  # fmt: skip
    # Sorted here: asked for in this order, databases read all that happened between the two.
    return sorted(session.exec(query).all(), key=lambda row: (row.at_us, row.id))


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
    query = sql_select(func.sum(SUMS.c.cents), func.sum(SUMS.c.quantity)).where(
        SUMS.c.room_id == room_id, SUMS.c.side == "cost", SUMS.c.category == DISPOSAL,
        SUMS.c.unit == "kg",
    )  # fmt: skip
    cents, kg = session.execute(query).one()
    return int(cents or 0), float(kg or 0.0)


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


def last_number(session: Session, room_id: int) -> int:
    """The number of the room's last entry in its chain, in which nothing comes between."""
    end = session.exec(select(ChainRow.number).where(ChainRow.room_id == room_id)).first()
    return end or 0


def has_changed_before(
    session: Session, room_id: int, number: int, until_us: int, kinds: Sequence[str]
) -> bool:
    """Whether what was stored behind an entry changes entries of these kinds before an instant.

    The entry is told by its number in the chain: by its row an entry of another server that is
    committed later may stand before it. After very many it is taken to.
    """
    table: Any = EntryRow.__table__  # type: ignore[attr-defined]
    links: Any = ChainLinkRow.__table__  # type: ignore[attr-defined]
    columns = [table.c[name] for name in ("kind", "at_us", "corrects", "fields")]
    same = (table.c.room_id == links.c.room_id) & (table.c.uid == links.c.uid)
    query = sql_select(*columns).select_from(links.join(table, same))
    query = query.where(links.c.room_id == room_id, links.c.number > number)
    rows = session.execute(query.limit(MOST_NEWS + 1)).all()
    if len(rows) > MOST_NEWS or any(kind in kinds and at < until_us for kind, at, _, _ in rows):
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
