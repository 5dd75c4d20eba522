"""What each week cost: roll-ups that follow the log and correct themselves.

Kept in memory for each room, worked out from the log alone. New entries move only what they
touch; a late, corrected or withdrawn one has the lines of its item, and the figures of all weeks
from its own on, worked out anew, so that the result is that of reading the whole log again.
"""

import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any
from weakref import WeakKeyDictionary
from zoneinfo import ZoneInfo

from sqlmodel import Session, col, select

from app.domain.roomlog.kinds import (
    KINDS,
    Entry,
    Removal,
    Resin,
    Swap,
    Tank,
    TankChange,
    TopUp,
    Withdrawal,
)
from app.domain.roomlog.kinds.checklists import KINDS_OF_CHECKLISTS, Checklist
from app.domain.roomlog.kinds.inspections import KINDS_OF_INSPECTIONS
from app.domain.roomlog.kinds.spending import OtherCost, PriceList
from app.domain.roomlog.kinds.supplies import KINDS_OF_SUPPLIES, StockUsed
from app.domain.roomlog.kinds.waste import Drum, DrumTransfer, PickupShipped, Pour
from app.domain.spend import costs
from app.domain.spend.disposal import disposal_lines
from app.domain.spend.lines import CostLine
from app.domain.spend.prices import PRICES_BOOK, PricesState
from app.domain.spend.shelf import ShelfLines, shelf_lines
from app.domain.spend.weeks import IsoWeek
from app.domain.things import fold
from app.services.entries import Place, entry_of, place_of
from app.store.instants import from_us
from app.store.site import site
from app.store.spend import WashRow, parts_mass, past_limit, week_washes
from app.store.tables import EntryRow, RoomRow

SUPPLIES = frozenset(kind.kind for kind in KINDS_OF_SUPPLIES)
BATHS = frozenset(kind.kind for kind in (Tank, TankChange, TopUp, Swap, Removal))
WASTE = frozenset(kind.kind for kind in (Drum, Pour, DrumTransfer, PickupShipped))
STEPS: tuple[type[Entry], ...] = (Swap, *KINDS_OF_CHECKLISTS, *KINDS_OF_INSPECTIONS)
LABOUR = frozenset(kind.kind for kind in STEPS if kind is not Checklist)
PRICE, OTHER = PriceList.kind, OtherCost.kind
COSTED = tuple(sorted(SUPPLIES | BATHS | WASTE | LABOUR | {PRICE, OTHER}))
SOME = 500
LIMITS = (Tank.kind, TankChange.kind, Resin.kind, Withdrawal.kind)

Part = tuple[str, str]


@dataclass(frozen=True)
class Spend:
    """The costs of a room as its log stands.

    Attributes:
        lines, bought: by ISO week of the room's time.
        uncovered: fills that nothing taken from the shelf goes with.
        shelf: each item's lines, its worth on hand among them.
    """

    prices: PricesState = field(default_factory=PricesState)
    lines: Mapping[IsoWeek, tuple[CostLine, ...]] = field(default_factory=dict)
    bought: Mapping[IsoWeek, tuple[CostLine, ...]] = field(default_factory=dict)
    fills: tuple[costs.Fill, ...] = ()
    uncovered: tuple[costs.Fill, ...] = ()
    shelf: Mapping[str, ShelfLines] = field(default_factory=dict)
    solvents: Mapping[str, str] = field(default_factory=dict)
    bath_entries: tuple[Entry, ...] = ()
    waste_entries: tuple[Entry, ...] = ()

    def week(self, week: IsoWeek) -> tuple[CostLine, ...]:
        """The lines of a week, in the order of time."""
        return self.lines.get(week, ())


@dataclass(frozen=True)
class WeekCounts:
    """Washes of a week past their tank's present limit; those with a mass, and that mass."""

    late: int
    weighed: int
    parts_g: float


@dataclass
class _Kept:
    """What is kept of a room between requests."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    seen_id: int = 0
    version: int = -1
    time_zone: str = ""
    basis: Any = None
    entries: dict[Part, dict[str, tuple[Place, Entry]]] = field(default_factory=dict)
    items: dict[str, ShelfLines] = field(default_factory=dict)
    spend: Spend = field(default_factory=Spend)
    washes: dict[IsoWeek, list[WashRow]] = field(default_factory=dict)
    counts: dict[IsoWeek, WeekCounts] = field(default_factory=dict)


_rooms: WeakKeyDictionary[Any, dict[int, _Kept]] = WeakKeyDictionary()


def spend_of(session: Session, room: RoomRow) -> Spend:
    """The room's costs, brought up to the log."""
    kept = _kept(session, room)
    with kept.lock:
        _refresh(session, room, kept)
        return kept.spend


def washes_of(session: Session, room: RoomRow, weeks: Iterable[IsoWeek]) -> dict[
    IsoWeek, list[WashRow]
]:  # fmt: skip
    """What washes of these weeks did, by tank, fill and resin."""
    assert room.id is not None
    kept, zone = _kept(session, room), ZoneInfo(room.time_zone)
    with kept.lock:
        is_current = _refresh(session, room, kept)
        known = kept.washes if is_current else {}
        for week in (wanted := list(weeks)):
            if week not in known:
                known[week] = week_washes(session, room.id, *week.span(zone))
        return {week: known[week] for week in wanted}


def counts_of(session: Session, room: RoomRow, week: IsoWeek) -> WeekCounts:
    """What is counted of a week's washes."""
    assert room.id is not None
    kept, span = _kept(session, room), week.span(ZoneInfo(room.time_zone))
    with kept.lock:
        known = kept.counts if _refresh(session, room, kept) else {}
        if week not in known:
            late = past_limit(session, room.id, *span)
            known[week] = WeekCounts(late, *parts_mass(session, room.id, *span))
        return known[week]


def _kept(session: Session, room: RoomRow) -> _Kept:
    assert room.id is not None
    return _rooms.setdefault(session.get_bind(), {}).setdefault(room.id, _Kept())


def _refresh(session: Session, room: RoomRow, kept: _Kept) -> bool:
    """Bring what is kept up to the log; False where this session began before what is kept."""
    assert room.id is not None
    version = session.exec(select(RoomRow.version).where(RoomRow.id == room.id)).one()
    if kept.time_zone != room.time_zone:
        kept.washes.clear()
        kept.counts.clear()
        kept.version = -1
    if version <= kept.version:
        return version == kept.version
    zone = ZoneInfo(room.time_zone)
    is_new = kept.seen_id == 0
    changed = _take_all(session, room.id, kept) if is_new else _take_news(
        session, room.id, kept, zone
    )  # fmt: skip
    minutes = site(session, room.id).swap_minutes
    if changed or kept.basis != (minutes, room.time_zone):
        kept.basis = (minutes, room.time_zone)
        _work_out(kept, changed, minutes, zone)
    kept.version, kept.time_zone = version, room.time_zone
    return True


def _take_all(session: Session, room_id: int, kept: _Kept) -> set[Part]:
    kept.seen_id = _last_id(session, room_id)
    query = select(EntryRow).where(
        EntryRow.room_id == room_id, col(EntryRow.kind).in_(COSTED),
        col(EntryRow.voided_by).is_(None),
    )  # fmt: skip
    return {part for row in session.exec(query) for part in _add(kept, row)}


def _last_id(session: Session, room_id: int) -> int:
    query = select(EntryRow.id).where(EntryRow.room_id == room_id)
    return session.exec(query.order_by(col(EntryRow.id).desc()).limit(1)).first() or 0


def _take_news(session: Session, room_id: int, kept: _Kept, zone: ZoneInfo) -> set[Part]:
    """Take entries in that came since, and out what they replace or withdraw."""
    news = session.exec(
        select(EntryRow).where(EntryRow.room_id == room_id, col(EntryRow.id) > kept.seen_id)
    ).all()
    if not news:
        return set()
    kept.seen_id = max(row.id or 0 for row in news)
    targets = [t for row in news if (t := getattr(entry_of(row), "withdraws", row.corrects))]
    first_us = min(row.moment_us for row in news)
    for start in range(0, len(targets), SOME):
        some = targets[start : start + SOME]
        first_us = min(first_us, *session.exec(
            select(EntryRow.moment_us)
            .where(EntryRow.room_id == room_id, col(EntryRow.uid).in_(some))
        ))  # fmt: skip
    first = IsoWeek.at(from_us(first_us), zone)
    kept.washes = {week: rows for week, rows in kept.washes.items() if week < first}
    moves_limits = any(row.kind in LIMITS for row in news)
    kept.counts = {
        week: found for week, found in kept.counts.items() if week < first and not moves_limits
    }
    changed = {
        part
        for part, entries in kept.entries.items()
        for target in targets
        if entries.pop(target, None) is not None
    }
    for row in news:
        if row.kind in COSTED and row.voided_by is None:
            changed |= _add(kept, row)
    return changed


def _add(kept: _Kept, row: EntryRow) -> set[Part]:
    entry, place = entry_of(row), place_of(row)
    parts = _parts(entry)
    for part in parts:
        kept.entries.setdefault(part, {})[row.uid] = (place, entry)
    return parts


def _parts(entry: Entry) -> set[Part]:
    """What an entry's costs are worked out with."""
    if entry.kind in SUPPLIES:
        return {("item", entry.item)}  # type: ignore[attr-defined]
    named = (("baths", BATHS), ("waste", WASTE), ("labour", LABOUR), ("prices", {PRICE}),
             ("other", {OTHER}))  # fmt: skip
    return {(name, "") for name, kinds in named if entry.kind in kinds}


def _in_order(kept: _Kept, part: Part) -> list[Entry]:
    found = sorted(kept.entries.get(part, {}).values(), key=lambda pair: pair[0])
    return [entry for _, entry in found]


def _work_out(kept: _Kept, changed: set[Part], swap_minutes: float, zone: ZoneInfo) -> None:
    prices: PricesState = fold(PRICES_BOOK, "prices", _in_order(kept, ("prices", "")))
    all_items = {key for name, key in kept.entries if name == "item"}
    stale = all_items if prices != kept.spend.prices else {k for n, k in changed if n == "item"}
    for key in stale:
        kept.items[key] = shelf_lines(key, _in_order(kept, ("item", key)), prices)
    on_shelf = {
        item.state.solvent for item in kept.items.values() if item.state and item.state.solvent
    }
    found, solvents = costs.fills(_in_order(kept, ("baths", "")))
    issues = [
        entry
        for key in all_items
        for _, entry in kept.entries[("item", key)].values()
        if isinstance(entry, StockUsed)
    ]
    lines = [
        *(line for key in sorted(kept.items) for line in kept.items[key].used),
        *costs.fill_lines(found, on_shelf, prices),
        *disposal_lines(_in_order(kept, ("waste", "")), prices, solvents),
        *costs.labour_lines(_in_order(kept, ("labour", "")), prices, swap_minutes, solvents),
        *costs.other_lines(_in_order(kept, ("other", "")), solvents),
    ]
    kept.spend = Spend(
        prices=prices,
        lines=_by_week(lines, zone),
        bought=_by_week([x for k in sorted(kept.items) for x in kept.items[k].bought], zone),
        fills=tuple(found),
        uncovered=tuple(costs.uncovered(found, issues, on_shelf)),
        shelf=dict(kept.items),
        solvents=solvents,
        bath_entries=tuple(_in_order(kept, ("baths", ""))),
        waste_entries=tuple(_in_order(kept, ("waste", ""))),
    )


def _by_week(lines: Sequence[CostLine], zone: ZoneInfo) -> dict[IsoWeek, tuple[CostLine, ...]]:
    weeks: dict[IsoWeek, list[CostLine]] = {}
    for line in sorted(lines, key=lambda line: (line.at, line.entry, line.tank)):
        weeks.setdefault(IsoWeek.at(line.at, zone), []).append(line)
    return {week: tuple(found) for week, found in weeks.items()}


assert all(kind in KINDS for kind in COSTED)
