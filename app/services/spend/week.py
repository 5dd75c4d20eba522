"""The week as the manager reads it, put together from the roll-ups."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.roomlog.kinds import Reject, Removal
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.spend.cost_folds import COST, FILL, OWED
from app.domain.spend.cost_lines import CostLine, total
from app.domain.spend.costs import NO_PRICE, Fill
from app.domain.spend.price_book import Rates
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
from app.services.entries import entry_of
from app.services.kept import kept
from app.services.spend.rollups import Spend, carried_to, counts_of, spend_of, washes_of
from app.store.spend import (
    cost_sums,
    first_entry_at,
    lines_before,
    rows_between,
    swaps_paid,
)
from app.store.spend_lines import lines_of_week
from app.store.tables import RoomRow

SHOWN_WEEKS = 13  # of the trend; a usual week is the mean of so many before


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
