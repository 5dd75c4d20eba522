"""The next weeks' spend, from the forecasts of swaps and what other weeks cost."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.planning.orders import OrderToPlace
from app.domain.spend.ahead import Begun, SwapCost, WeekAhead, spread, weeks_ahead, whole
from app.domain.spend.lines import DISPOSAL, LABOUR, CostLine, total
from app.domain.spend.parts import COST
from app.domain.spend.prices import PricesState
from app.domain.spend.weeks import IsoWeek
from app.domain.spend.whatif import PricesNow
from app.services.kept import kept
from app.services.planning.proposal import Ahead, ahead
from app.services.spend.pricing import prices_now
from app.services.spend.rollups import Spend, spend_of
from app.store import queries
from app.store.tables import RoomRow

WEEKS, LOOK_BACK = 8, 13
KEPT_S = 300.0  # in which the share of this week that is left changes by 0.05 %


@dataclass(frozen=True)
class Plan:
    """The weeks to come.

    Attributes:
        orders: what the swaps lack, with the cents it should cost (0: no price is known).
        unknown: prices that nobody has entered.
    """

    weeks: tuple[tuple[IsoWeek, WeekAhead], ...]
    cents: float
    low_cents: float
    high_cents: float
    orders: tuple[tuple[OrderToPlace, int], ...]
    unknown: tuple[str, ...]
    prices: PricesState


def spend_ahead(session: Session, room: RoomRow, now: datetime) -> Plan:
    """The next weeks of a room, this one first.

    Kept for some minutes until something is entered or a forecast is made.
    """
    assert room.id is not None
    made = queries.forecasts_made(session, room.id)
    depends_on = (room.version, room.time_zone, made, now.timestamp() // KEPT_S)
    return kept(
        session, room.id, "spend ahead", depends_on, lambda: _spend_ahead(session, room, now)
    )


def _spend_ahead(session: Session, room: RoomRow, now: datetime) -> Plan:
    zone = ZoneInfo(room.time_zone)
    this = IsoWeek.at(now, zone)
    shown = [this.plus(number) for number in range(WEEKS)]
    spend, found = spend_of(session, room), ahead(session, room, now)
    assert room.id is not None
    solvents = {tank.solvent for tank in found.board.tanks}
    prices = prices_now(session, room.id, spend, solvents, now)
    spans = [week.span(zone) for week in shown]
    spans[0] = (now, spans[0][1])
    spent, (since, until) = spend.week(this), this.span(zone)
    costs = [_swap_cost(found, tank, prices, now, spent) for tank in found.candidates]
    begun = Begun(total(spent), (until - now) / (until - since))
    weeks = weeks_ahead(spans, costs, _usual(spend, this.plus(-1)), begun)
    orders = [
        (order, round(prices.solvent_cents_per_l.get(order.solvent, 0.0) * order.total_l))
        for order in found.orders
    ]
    return Plan(
        tuple(zip(shown, weeks, strict=True)), *whole(weeks), tuple(orders), prices.unknown,
        spend.prices,
    )  # fmt: skip


def _usual(spend: Spend, last: IsoWeek) -> tuple[float, float]:
    """What the weeks up to the last cost beside swaps; weeks without costs are left out."""
    sums = spend.sums(last.plus(1 - LOOK_BACK), last)
    costly = [[one for one in some if one.side == COST] for some in sums.values()]
    return spread([sum(o.cents for o in some if not o.is_swap) for some in costly if some])


def _swap_cost(
    found: Ahead, tank: str, prices: PricesNow, now: datetime, spent: Sequence[CostLine]
) -> SwapCost:
    """What a swap of a tank costs: a fresh bath, its disposal, the labour.

    A swap that is under way belongs to this week for certain, less what was charged for it.
    """
    view, candidate = found.board.tank(tank), found.candidates[tank]
    assert view is not None
    litres = view.capacity_l
    kg = litres * view.solvent_density_g_ml
    disposal = kg * prices.disposal_cents_per_kg
    if not prices.disposal_cents_per_kg and prices.drum_l:
        disposal = litres / prices.drum_l * prices.disposal_cents_per_drum
    cents = (
        litres * prices.solvent_cents_per_l.get(view.solvent, 0.0)
        + disposal
        + prices.swap_minutes / 60 * prices.labour_cents_per_hour
    )
    if view.swap_started_at is None:
        return SwapCost(tank, cents, candidate.chances.at, candidate.life_days)
    charged = sum(
        line.cents for line in spent
        if line.tank == tank and line.at >= view.swap_started_at and _is_of_swap(line)
    )  # fmt: skip
    return SwapCost(tank, cents, lambda at: float(at >= now), candidate.life_days, charged)


def _is_of_swap(line: CostLine) -> bool:
    return line.purpose == "swap" or line.category in (DISPOSAL, LABOUR)
