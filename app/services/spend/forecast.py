"""The next weeks' spend, from the forecasts of swaps and what other weeks cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.baths.evidence import missing_words
from app.domain.planning.days import starts_at
from app.domain.planning.orders import OrderToPlace
from app.domain.planning.scheduling import WEEKS as PLANNED_WEEKS
from app.domain.planning.scheduling import Candidate, Proposal
from app.domain.spend.cost_folds import COST
from app.domain.spend.cost_lines import DISPOSAL, LABOUR, CostLine, total
from app.domain.spend.forecast import Begun, PlannedSwap, WeekAhead, spread, weeks_ahead
from app.domain.spend.price_book import PricesState
from app.domain.spend.weeks import IsoWeek
from app.domain.spend.whatif.cases import PricesNow
from app.services.caching import kept
from app.services.planning.proposal import Ahead, ahead
from app.services.spend.price_book import prices_now
from app.services.spend.weekly_costs import Spend, spend_of
from app.store.queries import TankView
from app.store.tables import RoomRow

WEEKS, LOOK_BACK = 8, 13
BEYOND = 3  # weeks behind those shown, whose swaps may come early
MIDDAY = timedelta(hours=12)
LEAST_SPREAD = 0.1  # of a bath's life, from bath to bath; common practice, no source
Z90 = 1.2816  # from the middle to the 90 % point of a normal distribution, in its deviations
KEPT_S = 300.0  # in which the share of this week that is left changes by 0.05 %


@dataclass(frozen=True)
class Plan:
    """The weeks to come.

    Attributes:
        orders: what the swaps lack, with the cents it should cost (0: no price is known).
        unknown: prices that nobody has entered.
        too_early: tanks whose swaps are not in it, since no day can be named for them yet.
        missing: what to log before one can, in words.
        is_known: a day can be named for one tank at least.
        days_as_of: of the board that the swaps are from.
    """

    weeks: tuple[tuple[IsoWeek, WeekAhead], ...]
    cents: float
    low_cents: float
    high_cents: float
    orders: tuple[tuple[OrderToPlace, int], ...]
    unknown: tuple[str, ...]
    prices: PricesState
    too_early: tuple[str, ...] = ()
    missing: str = ""
    is_known: bool = True
    days_as_of: datetime | None = None


def spend_ahead(session: Session, room: RoomRow, now: datetime) -> Plan:
    """The next weeks of a room, this one first.

    Kept for some minutes until something is entered or a forecast is made.
    """
    assert room.id is not None
    depends_on = (room.edition, room.time_zone, now.timestamp() // KEPT_S)
    return kept(
        session, room.id, "spend ahead", depends_on, lambda: _spend_ahead(session, room, now)
    )


def _spend_ahead(session: Session, room: RoomRow, now: datetime) -> Plan:
    zone = ZoneInfo(room.time_zone)
    this = IsoWeek.at(now, zone)
    shown = [this.plus(number) for number in range(WEEKS)]
    spend, found = spend_of(session, room), ahead(session, room, now, PLANNED_WEEKS + BEYOND)
    assert room.id is not None
    solvents = {tank.solvent for tank in found.board.tanks}
    prices = prices_now(session, room.id, spend, solvents, now)
    spans = [week.span(zone) for week in shown]
    spans[0] = (now, spans[0][1])
    spent, (since, until) = spend.week(this), this.span(zone)
    swaps = [
        _planned(found, proposal, day, prices, spent, zone)
        for proposal in found.schedule.proposals
        if (day := proposal.day) is not None
    ]
    early = [tank for tank in found.board.tanks if tank.is_too_early]
    begun = Begun(total(spent), (until - now) / (until - since))
    expected = weeks_ahead(spans, swaps, _usual(spend, this.plus(-1)), begun)
    orders = [
        (order, round(prices.solvent_cents_per_l.get(order.solvent, 0.0) * order.total_l))
        for order in found.orders
    ]
    return Plan(
        tuple(zip(shown, expected.weeks, strict=True)), expected.cents, expected.low_cents,
        expected.high_cents, tuple(orders), prices.unknown, spend.prices,
        tuple(tank.key for tank in early),
        missing_words({lack for tank in early for lack in tank.lacks}),
        is_known=not found.board.tanks or len(early) < len(found.board.tanks),
        days_as_of=found.board.days_as_of,
    )  # fmt: skip


def _usual(spend: Spend, last: IsoWeek) -> tuple[float, float]:
    """What the weeks up to the last cost beside swaps; weeks without costs are left out."""
    sums = spend.sums(last.plus(1 - LOOK_BACK), last)
    costly = [[one for one in some if one.side == COST] for some in sums.values()]
    return spread([sum(o.cents for o in some if not o.is_swap) for some in costly if some])


def _planned(
    found: Ahead, proposal: Proposal, day: date, prices: PricesNow, spent: Sequence[CostLine],
    zone: ZoneInfo,
) -> PlannedSwap:  # fmt: skip
    """A swap of the plan with its costs. One that is under way costs less what was charged."""
    view, candidate = found.board.tank(proposal.tank), found.candidates[proposal.tank]
    assert view is not None
    cents, at = _swap_cents(view, prices), starts_at(day, zone) + MIDDAY
    if view.swap_started_at is None or proposal.round:
        return PlannedSwap(view.key, cents, at, _sd_days(view, candidate, proposal))
    charged = sum(
        line.cents for line in spent
        if line.tank == view.key and line.at >= view.swap_started_at and _is_of_swap(line)
    )  # fmt: skip
    return PlannedSwap(view.key, cents, at, charged_cents=charged)


def _swap_cents(view: TankView, prices: PricesNow) -> float:
    """What a swap of a tank costs: a fresh bath, its disposal, the labour."""
    litres = view.capacity_l
    kg = litres * view.solvent_density_g_ml
    disposal = kg * prices.disposal_cents_per_kg
    if not prices.disposal_cents_per_kg and prices.drum_l:
        disposal = litres / prices.drum_l * prices.disposal_cents_per_drum
    return (
        litres * prices.solvent_cents_per_l.get(view.solvent, 0.0)
        + disposal
        + prices.swap_minutes / 60 * prices.labour_cents_per_hour
    )


def _sd_days(view: TankView, candidate: Candidate, proposal: Proposal) -> float:
    """How much a swap's day may move: as the day of its limit, and by each life before it."""
    first = life = 0.0
    is_settled = proposal.is_pinned or view.limit_is_passed or view.swap_started_at is not None
    if not is_settled and view.limit_p10_at is not None and view.limit_p50_at is not None:
        first = (view.limit_p50_at - view.limit_p10_at) / timedelta(days=1) / Z90
    if candidate.life_days is not None:
        early = candidate.early_life_days or candidate.life_days
        life = max((candidate.life_days - early) / Z90, LEAST_SPREAD * candidate.life_days)
    return float((first**2 + proposal.round * life**2) ** 0.5)


def _is_of_swap(line: CostLine) -> bool:
    return line.purpose == "swap" or line.category in (DISPOSAL, LABOUR)
