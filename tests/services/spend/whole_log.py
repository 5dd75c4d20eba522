"""What a room's costs are by reading its whole log at once: what the roll-ups are held against."""

from collections.abc import Sequence
from typing import Any
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlmodel import Session, col

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.site import SiteRules
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.roomlog.kinds.supplies import Item, StockUsed
from app.domain.spend import costs
from app.domain.spend.cost_folds import BATHS, LABOUR, SUPPLIES, WASTE
from app.domain.spend.cost_lines import CostLine
from app.domain.spend.costs import disposal_lines, shelf_lines
from app.domain.spend.price_book import PRICES_BOOK, Basis, PricesState, swap_minutes
from app.domain.spend.weeks import IsoWeek
from app.domain.things import fold
from app.services.entries import counting_of_kind
from app.store.spend.tables import (
    SpendLineRow,
    SpendPartsRow,
    SpendStateRow,
    SpendWashRow,
    SpendWeekRow,
)
from app.store.tables import RoomRow

ByWeek = dict[IsoWeek, tuple[CostLine, ...]]


def whole_log(session: Session, room: RoomRow) -> tuple[ByWeek, ByWeek, list[costs.Fill]]:
    """Costs and purchases by week, and the fills without anything from the shelf.

    For rooms whose tanks keep their solvent.
    """
    assert room.id is not None
    room_id, zone = room.id, ZoneInfo(room.time_zone)

    def read(*kinds: str) -> list[Entry]:
        return list(counting_of_kind(session, room_id, *kinds))

    prices: PricesState = fold(PRICES_BOOK, "prices", read(PriceList.kind))
    stock: dict[str, list[Entry]] = {}
    for entry in read(*SUPPLIES):
        stock.setdefault(entry.item, []).append(entry)  # type: ignore[attr-defined]
    items = {key: shelf_lines(key, entries, prices) for key, entries in stock.items()}
    on_shelf = costs.kept_since(read(Item.kind))
    usual = Basis(swap_minutes=swap_minutes(read(SiteRules.kind)))
    found, solvents = costs.fills(read(*BATHS))
    lines = [
        *(line for key in sorted(items) for line in items[key].used),
        *costs.fill_lines(found, on_shelf, prices),
        *disposal_lines(read(*WASTE), prices, solvents),
        *costs.labour_lines(read(*LABOUR), prices, usual.swap_minutes_at, solvents),
        *costs.other_lines(read(OtherCost.kind), solvents),
    ]
    bought = [line for key in sorted(items) for line in items[key].bought]
    used = [
        entry for entries in stock.values() for entry in entries if isinstance(entry, StockUsed)
    ]
    return _by_week(lines, zone), _by_week(bought, zone), costs.uncovered(found, used, on_shelf)


def rolled_up(session: Session, room: RoomRow) -> dict[str, list[tuple[Any, ...]]]:
    """Everything that is kept of a room's costs, in an order of its own.

    Which inspections were ever within a swap is left out: those withdrawn stay named there.
    """
    found = {}
    for table in (SpendLineRow, SpendWeekRow, SpendStateRow, SpendWashRow, SpendPartsRow):
        columns = [c for c in table.__table__.c if c.name not in ("id", "quantity")]  # type: ignore[attr-defined]
        rows = session.execute(select(*columns).where(table.room_id == room.id))
        found[table.__tablename__] = sorted(
            tuple(row) for row in rows if not str(row[1]).startswith("within:")
        )
    return found


def quantities(session: Session, room: RoomRow) -> list[float]:
    """The quantities in the sums of weeks, in an order of their own."""
    names = ("week", "side", "category", "is_swap", "solvent", "unit", "is_item")
    keys = [SpendWeekRow.__table__.c[name] for name in names]  # type: ignore[attr-defined]
    query = select(col(SpendWeekRow.quantity)).where(col(SpendWeekRow.room_id) == room.id)
    return list(session.scalars(query.order_by(*keys)))


def _by_week(lines: Sequence[CostLine], zone: ZoneInfo) -> ByWeek:
    weeks: dict[IsoWeek, list[CostLine]] = {}
    for line in sorted(lines, key=_place):
        weeks.setdefault(IsoWeek.at(line.at, zone), []).append(line)
    return {week: tuple(found) for week, found in weeks.items()}


def _place(line: CostLine) -> tuple[object, ...]:
    return line.at, line.entry, line.tank
