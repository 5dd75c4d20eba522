"""What each week cost: read from the roll-ups that every write keeps in step with the log.

Then the week as the manager reads it, and what stands behind its comparison and its quality: usual
weeks, rejects, late washes.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from functools import cached_property
from zoneinfo import ZoneInfo

from sqlalchemy import select as sql_select
from sqlmodel import Session, col

from app.domain.roomlog.kinds import Entry, Reject, Removal, Wash
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.spend import costs
from app.domain.spend.cost_folds import BATHS, BOUGHT, COST, FILL, ITEM, OWED, WASTE
from app.domain.spend.cost_lines import CostLine, total
from app.domain.spend.costs import NO_PRICE, Fill, ShelfBook
from app.domain.spend.price_book import Basis, PricesState, Rates
from app.domain.spend.weekly_costs import (
    Before,
    Comparison,
    Group,
    Loss,
    Pace,
    Quality,
    Verdict,
    by_category,
    by_resin,
    compare,
    grouped,
    losses_of,
    pace,
    rejects_of,
    resin_lines,
    verdict,
)
from app.domain.spend.weeks import IsoWeek, weeks_to
from app.domain.supplies.state import ItemState
from app.services.caching import kept
from app.services.entries import counting_of_kind, entry_of
from app.services.spend.cost_lines import state_of
from app.services.spend.projection import basis_from
from app.store.instants import from_us, to_us
from app.store.spend import reads
from app.store.spend.lines import lines_of_week
from app.store.spend.reads import (
    WashRow,
    WeekSum,
    cost_sums,
    first_entry_at,
    lines_before,
    rows_between,
    swaps_paid,
)
from app.store.spend.tables import SpendHeadRow
from app.store.tables import CourseRow, EntryRow, RoomRow

CARRY_WEEKS = 26  # how far back a bath's fill is looked for

SHOWN_WEEKS = 13  # of the trend; a usual week is the mean of so many before


@dataclass(frozen=True)
class WeekCounts:
    """Washes of a week past the limit their tank had then; those with a mass, and that mass."""

    late: int
    weighed: int
    parts_g: float


@dataclass(frozen=True)
class OnShelf:
    """An item on the shelf, what is on hand of it and what that cost.

    Attributes:
        state: without what tells of its past alone.
    """

    state: ItemState | None
    on_hand_cents: int
    on_hand: float


class Lines(Mapping[IsoWeek, tuple[CostLine, ...]]):
    """The lines of a side by ISO week of the room's time, each week read when it is asked for."""

    def __init__(self, session: Session, room_id: int, side: str) -> None:
        self._session, self._room_id, self._side = session, room_id, side
        self._read: dict[IsoWeek, tuple[CostLine, ...]] = {}

    @cached_property
    def _weeks(self) -> list[IsoWeek]:
        counts = reads.weeks_with(self._session, self._room_id, self._side)
        return [IsoWeek.counted(count) for count in counts]

    def __getitem__(self, week: IsoWeek) -> tuple[CostLine, ...]:
        if week not in self._read:
            found = lines_of_week(self._session, self._room_id, week.count, self._side)
            self._read[week] = found
        if not self._read[week]:
            raise KeyError(week)
        return self._read[week]

    def __iter__(self) -> Iterator[IsoWeek]:
        return iter(self._weeks)

    def __len__(self) -> int:
        return len(self._weeks)


class Spend:
    """The costs of a room as its log stands, read within one transaction.

    Attributes:
        lines, bought: by ISO week of the room's time.
    """

    def __init__(self, session: Session, room_id: int, basis: Basis) -> None:
        self._session, self._room_id, self.basis = session, room_id, basis
        self.lines: Mapping[IsoWeek, tuple[CostLine, ...]] = Lines(session, room_id, COST)
        self.bought: Mapping[IsoWeek, tuple[CostLine, ...]] = Lines(session, room_id, BOUGHT)

    @property
    def prices(self) -> PricesState:
        """The room's rates."""
        return self.basis.prices

    @property
    def first_week(self) -> IsoWeek | None:
        """The first week that cost something."""
        count = reads.first_week(self._session, self._room_id, COST)
        return None if count is None else IsoWeek.counted(count)

    def week(self, week: IsoWeek) -> tuple[CostLine, ...]:
        """The lines of a week, in the order of time."""
        return self.lines.get(week, ())

    def sums(self, first: IsoWeek, last: IsoWeek) -> dict[IsoWeek, list[WeekSum]]:
        """The lines of weeks, the last included, summed by side, cause and solvent."""
        found: dict[IsoWeek, list[WeekSum]] = {}
        for one in reads.week_sums(self._session, self._room_id, first.count, last.count):
            found.setdefault(IsoWeek.counted(one.week), []).append(one)
        return found

    def cents(self, first: IsoWeek, last: IsoWeek) -> dict[IsoWeek, int]:
        """What each of these weeks cost; weeks without costs are left out."""
        return {
            week: sum(one.cents for one in some if one.side == COST)
            for week, some in self.sums(first, last).items()
            if any(one.side == COST for one in some)
        }

    def uncovered_in(self, week: IsoWeek) -> list[costs.Fill]:
        """Fills of a week with what the shelf kept, that nothing taken from it goes with."""
        rows = reads.bare_fills(self._session, self._room_id, week.count)
        return [costs.Fill(*row) for row in rows]

    @property
    def uncovered(self) -> list[costs.Fill]:
        """All fills with what the shelf kept that nothing taken from it goes with."""
        rows = reads.bare_fills(self._session, self._room_id, None)
        return [costs.Fill(*row) for row in rows]

    @cached_property
    def shelf(self) -> Mapping[str, OnShelf]:
        """Each item as its last entry leaves it."""
        found = {}
        for key, text in reads.last_states(self._session, self._room_id, ITEM):
            book: ShelfBook = state_of(ITEM, text)
            found[key] = OnShelf(book.state, book.cents, book.state.on_hand)
        return found

    @property
    def solvents(self) -> Mapping[str, str]:
        """What each tank holds now."""
        return {tank: steps[-1][1] for tank, steps in self.basis.tanks.items() if steps}

    @cached_property
    def fills(self) -> tuple[costs.Fill, ...]:
        """All fills there ever were, in the order of time."""
        rows = reads.fill_rows(self._session, self._room_id, FILL)
        return tuple(costs.Fill(*row) for row in rows)

    @cached_property
    def bath_entries(self) -> tuple[Entry, ...]:
        """What was ever set up, filled and drained, in the order of truth."""
        return tuple(counting_of_kind(self._session, self._room_id, *sorted(BATHS)))

    @cached_property
    def waste_entries(self) -> tuple[Entry, ...]:
        """What ever went into drums and left with them, in the order of truth."""
        return tuple(counting_of_kind(self._session, self._room_id, *sorted(WASTE)))


def spend_of(session: Session, room: RoomRow) -> Spend:
    """The room's costs."""
    assert room.id is not None
    head = session.get(SpendHeadRow, room.id)
    basis = Basis() if head is None else basis_from(head.basis)
    return Spend(session, room.id, basis)


def carried_to(session: Session, room: RoomRow, week: IsoWeek) -> dict[str, dict[str, float]]:
    """By tank, grams each resin carried into the fill that a week began with, up to its end.

    That fill is the one that a swap of the week ended, or that its top-ups went into; a tank
    without a wash in the week is taken at its last fill that had one, within half a year.
    """
    assert room.id is not None
    first, last = week.plus(1 - CARRY_WEEKS).count, week.count
    fills = reads.last_fills(session, room.id, first, last)
    return reads.carried_in(session, room.id, fills, first, last)


def washes_of(
    session: Session, room: RoomRow, weeks: Iterable[IsoWeek]
) -> dict[IsoWeek, list[WashRow]]:
    """What washes of these weeks did, by tank, fill and resin."""
    assert room.id is not None
    wanted = list(weeks)
    found: dict[IsoWeek, list[WashRow]] = {week: [] for week in wanted}
    by_count = {week.count: week for week in wanted}
    for count, row in reads.week_washes(session, room.id, sorted(by_count)):
        found[by_count[count]].append(row)
    return found


def counts_of(session: Session, room: RoomRow, week: IsoWeek) -> WeekCounts:
    """What is counted of a week's washes."""
    assert room.id is not None
    late = reads.late_washes(session, room.id, week.count)
    return WeekCounts(late, *reads.parts_mass(session, room.id, week.count))


@dataclass(frozen=True)
class WeekCost:
    """One of the weeks of the trend; `is_known` is no for those before the room's first cost."""

    week: IsoWeek
    cents: int
    budget_cents: int | None
    is_known: bool = True


@dataclass(frozen=True)
class Week:
    """A week's spend in all its views; each adds up to `cents`.

    Attributes:
        carry_in: by tank, grams each resin carried into the fill that the week began with.
        share: how much of the week is over, 0 to 1.
        why: against the usual week; of a week that is running, against the same part of others.
        uncovered: fills of the week that nothing taken from the shelf goes with.
        unpriced: what was taken from the shelf in the week and cost nothing here: it was used
            before it was received, or no price of its lot is known.
    """

    week: IsoWeek
    spend: Spend
    rates: Rates
    lines: tuple[CostLine, ...]
    cents: int
    by_category: Mapping[str, int]
    by_tank: Sequence[Group]
    by_solvent: Sequence[Group]
    by_resin: Sequence[Group]
    bought: tuple[CostLine, ...]
    trend: Sequence[WeekCost]
    share: float
    why: Comparison | None
    pace: Pace
    quality: Quality
    uncovered: Sequence[Fill]
    unpriced: Sequence[CostLine]
    carry_in: Mapping[str, Mapping[str, float]]

    @property
    def bought_cents(self) -> int:
        """What was paid for stock that came in the week."""
        return total(self.bought)

    @property
    def budget_cents(self) -> int | None:
        """The budget of the week."""
        return self.rates.weekly_budget_cents

    @property
    def is_over(self) -> bool:
        """All of the week has passed."""
        return self.share >= 1

    @property
    def has_begun(self) -> bool:
        """Some of the week has passed, or something was charged to it already."""
        return self.share > 0 or bool(self.lines)

    @property
    def verdict(self) -> Verdict | None:
        """The week against its budget; None without one."""
        return verdict(self.cents, self.budget_cents, self.share)


def read_week(
    session: Session, room: RoomRow, week: IsoWeek, now: datetime, shown: int = SHOWN_WEEKS
) -> Week:
    """A week of the room as it stands at `now`, and the weeks up to it.

    One that is over is kept until something is entered.
    """
    assert room.id is not None
    spend = spend_of(session, room)

    def make() -> Week:
        return _read(session, room, spend, week, now, shown)

    if now < week.span(ZoneInfo(room.time_zone))[1]:
        return make()
    depends_on = (room.version, room.time_zone, week)
    found = kept(session, room.id, f"spend of {shown} weeks", depends_on, make)
    return replace(found, spend=spend)  # which reads within this transaction


def _read(
    session: Session, room: RoomRow, spend: Spend, week: IsoWeek, now: datetime, shown: int
) -> Week:
    assert room.id is not None
    zone = ZoneInfo(room.time_zone)
    since, until = week.span(zone)
    lines, weeks = spend.week(week), weeks_to(week, shown)
    carry_in = carried_to(session, room, week)
    own, counts = washes_of(session, room, [week])[week], counts_of(session, room, week)
    washes = sum(row.count for row in own if row.kind == "wash")
    share = _share(since, until, now)
    return Week(
        week=week, spend=spend, rates=_rates(spend, week, zone), lines=lines, cents=total(lines),
        by_category=by_category(lines),
        by_tank=grouped(lines, lambda line: line.tank),
        by_solvent=grouped(lines, lambda line: line.solvent),
        by_resin=by_resin(lines, carry_in),
        bought=spend.bought.get(week, ()),
        trend=_trend(spend, weeks, zone),
        share=share,
        why=compare(lines, _before(session, room, spend, week, share)),
        pace=pace(total(lines), washes, counts.weighed, counts.parts_g),
        quality=_quality(session, room, (since, until), (washes, counts.late)),
        uncovered=spend.uncovered_in(week),
        unpriced=_unpriced(session, room.id, week, lines),
        carry_in=carry_in,
    )  # fmt: skip


def _before(
    session: Session, room: RoomRow, spend: Spend, week: IsoWeek, share: float
) -> Before:  # fmt: skip
    """What the weeks before cost, up to that share of each."""
    assert room.id is not None
    ends = usual_ends(session, room, spend, week, share)
    cents = cost_sums(session, room.id, ends)
    return Before(len(ends), cents, swaps_paid(session, room.id, ends))


def usual_ends(
    session: Session, room: RoomRow, spend: Spend, week: IsoWeek, share: float
) -> dict[int, datetime | None]:
    """The weeks that a usual one is the mean of, each with the instant up to which it counts.

    They begin with the first that cost something, or with the one after it where the room's log
    began later than on its first day: a part of a week is no usual one. None is all of a week.
    """
    assert room.id is not None
    first, zone = spend.first_week or week, ZoneInfo(room.time_zone)
    begun_at = first_entry_at(session, room.id)
    if begun_at is not None and begun_at >= first.span(zone)[0] + timedelta(days=1):
        first = first.plus(1)
    ends: dict[int, datetime | None] = {}
    for one in weeks_to(week.plus(-1), SHOWN_WEEKS):
        if one >= first:
            since, until = one.span(zone)
            ends[one.count] = None if share >= 1 else since + share * (until - since)
    return ends


def _share(since: datetime, until: datetime, now: datetime) -> float:
    """How much of a span is over, by the clock that knows no summer time."""
    begin, end = since.timestamp(), until.timestamp()
    return min(max((now.timestamp() - begin) / (end - begin), 0.0), 1.0)


def _quality(
    session: Session, room: RoomRow, span: tuple[datetime, datetime], washes: tuple[int, int]
) -> Quality:
    assert room.id is not None
    rows = rows_between(session, room.id, (Reject.kind, Incident.kind), *span)
    entries = [entry_of(row) for row in rows]
    problems = [entry for entry in entries if isinstance(entry, Incident) and entry.tank]
    return Quality(*washes, rejects_of(entries), _losses(session, room.id, problems, span))


def _losses(
    session: Session, room_id: int, problems: Sequence[Incident], span: tuple[datetime, datetime]
) -> tuple[Loss, ...]:
    found: list[Loss] = []
    removals = rows_between(session, room_id, (Removal.kind,), *span) if problems else ()
    baths = [entry_of(row) for row in removals]
    for one in problems:
        tank = one.tank or ""
        fills = [
            Fill(line.entry, line.at, tank, line.solvent, line.quantity,
                 is_swap=line.purpose == "swap")
            for line in lines_before(session, room_id, tank, one.at, FILL)
        ]  # fmt: skip
        costly = lines_before(session, room_id, tank, one.at, COST)
        found += losses_of([one], baths, fills, {tank: costly})
    return tuple(found)


def _unpriced(session: Session, room_id: int, week: IsoWeek, lines: Sequence[CostLine]) -> tuple[
    CostLine, ...
]:  # fmt: skip
    """What was used before it was received, and what no price is known of."""
    unknown = [line for line in lines if line.item and not line.cents and NO_PRICE in line.basis]
    return (*lines_of_week(session, room_id, week.count, OWED), *unknown)


def _rates(spend: Spend, week: IsoWeek, zone: ZoneInfo) -> Rates:
    """The rates at the end of a week; no budget judges a week that was over before the first."""
    end = week.last_instant(zone)
    rates = spend.prices.at(end)
    return replace(rates, weekly_budget_cents=None) if end < rates.since_at else rates


def _trend(spend: Spend, weeks: Sequence[IsoWeek], zone: ZoneInfo) -> list[WeekCost]:
    cents, first = spend.cents(weeks[0], weeks[-1]), spend.first_week or weeks[0]
    return [
        WeekCost(
            week, cents.get(week, 0), _rates(spend, week, zone).weekly_budget_cents,
            is_known=week >= first,
        )
        for week in weeks
    ]  # fmt: skip


def chosen_lines(week: Week, asked: Mapping[str, str]) -> list[CostLine]:
    """The lines behind a number of the week: by category, tank, solvent or resin.

    A property that is asked for with the word `none` is that of the whole room.
    """
    lines: Sequence[CostLine] = week.bought if asked.get("side") == "bought" else week.lines
    if resin := asked.get("resin"):
        lines = resin_lines(lines, week.carry_in, "" if resin == "none" else resin)
    for name in ("category", "tank", "solvent", "item"):
        if value := asked.get(name):
            wanted = "" if value == "none" else value
            lines = [line for line in lines if getattr(line, name) == wanted]
    return list(lines)


@dataclass(frozen=True)
class LateWash:
    """A wash whose bath was past the limit that its tank had then; both in mass percent."""

    entry: str
    at: datetime
    tank: str
    percent: float
    limit_percent: float


def usual_weeks(
    session: Session, room: RoomRow, read: Week, category: str, tank: str = ""
) -> list[tuple[IsoWeek, int]]:
    """The weeks that a week is compared with, the newest first, and what each cost of a cause.

    Of a week that is running, they are taken up to the same part of theirs.
    """
    assert room.id is not None
    found = []
    for count, end in usual_ends(session, room, read.spend, read.week, read.share).items():
        cents = cost_sums(session, room.id, {count: end})
        mine = [
            value for (name, where), value in cents.items()
            if name == category and tank in ("", where)
        ]  # fmt: skip
        found.append((IsoWeek.counted(count), sum(mine)))
    return sorted(found, key=lambda pair: -pair[0].count)


def rejects_in(session: Session, room: RoomRow, week: IsoWeek) -> list[Reject]:
    """What was logged as rejected in a week, the oldest first."""
    assert room.id is not None
    rows = rows_between(session, room.id, (Reject.kind,), *week.span(ZoneInfo(room.time_zone)))
    return [one for row in rows if isinstance(one := entry_of(row), Reject)]


def late_washes_in(session: Session, room: RoomRow, week: IsoWeek) -> list[LateWash]:
    """The washes of a week past the limit that their tank had then, the oldest first."""
    assert room.id is not None
    since, until = week.span(ZoneInfo(room.time_zone))
    columns = ("moment_us", "tank", "mean_before_percent", "limit_percent")
    query = (
        sql_select(col(EntryRow.uid), *(col(getattr(CourseRow, name)) for name in columns))
        .join(EntryRow, col(EntryRow.id) == col(CourseRow.entry_id))
        .where(
            col(CourseRow.room_id) == room.id, col(CourseRow.kind) == Wash.kind,
            col(CourseRow.moment_us) >= to_us(since), col(CourseRow.moment_us) < to_us(until),
            col(CourseRow.mean_before_percent) > col(CourseRow.limit_percent),
        )
        .order_by(col(CourseRow.moment_us), col(CourseRow.rank), col(CourseRow.sequence))
    )  # fmt: skip
    return [
        LateWash(uid, from_us(us), tank, percent, limit)
        for uid, us, tank, percent, limit in session.execute(query)
    ]
