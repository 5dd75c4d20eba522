"""What the shelf's page says of an item: how it stands, when to order it and how much."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from app.domain.roomlog.kinds.supplies import COUNTED_UNITS
from app.domain.supplies.demand import Demand, learn
from app.domain.supplies.outlook import (
    EXPIRING_DAYS,
    ComingUse,
    Course,
    LotOutlook,
    RunOut,
    Threat,
)
from app.domain.supplies.reorder import (
    USUAL_HOLDING_PERCENT,
    USUAL_SERVICE_PERCENT,
    WEEKS_A_YEAR,
    Containers,
    Lead,
    containers_for,
    containers_within,
    economic_quantity,
    held_in,
    reorder_point,
    safety_stock,
    z_of,
)
from app.domain.supplies.state import ItemState, Order, later
from app.domain.supplies.valuation import rounded

Standing = Literal[
    "short", "none", "recount", "low", "full", "late", "expired", "expiring", "new", "soon", "ok"
]
WEEKS_WITHOUT_COSTS = 4.0  # ordered at once where no costs are entered: common practice, no source
SOON_DAYS = 7
THREAT_DAYS = 3


Basis = Literal["economic", "weeks", "missing", "swaps", "refill"]


@dataclass(frozen=True)
class Buy:
    """What to order.

    Attributes:
        quantity: in containers where sizes are known; 0 where nothing is to be ordered, or nothing
            may be added to the shelf.
        wanted: before it was rounded to containers and held to the limits of the shelf.
        basis: what set it: the economic quantity, some weeks of use, what is missing, what the
            queued swaps take, twice the reorder point that was entered; with `limit` the most that
            may be kept or what would spoil cut it down.
        cost_cents: at the last known price; None where none is known.
    """

    quantity: float
    wanted: float
    basis: Basis
    limit: Literal["", "shelf", "spoils"]
    containers: tuple[Containers, ...]
    cost_cents: int | None


@dataclass(frozen=True)
class ItemPlan:
    """An item as it stands today. Quantities are in its unit.

    Attributes:
        threat: a swap due so soon that an order placed three days from now would come too late for
            it, and for which too little will be there.
        is_used: something says that it will be needed: past use, queued swaps, a reorder point
            that was entered. Of anything else no day is named and nothing is ordered.
        computed_point: what the use asks for; the reorder point is not below what was entered.
        position: on hand and on order together, what the reorder point is held against.
        counted: what is on order with a day to come, which the latest day to order counts on;
            an overdue order, or one without a day, it does not.
        order_by: the last day on which an order still comes before the early run-out day; today
            where that has passed, None where nothing runs out within the horizon.
        needs_order: the position has reached the reorder point, the last day to order has come, or
            a swap will lack some.
        overdue: orders that should have come.
        coming: the swaps that will take some of it, by the day they are due.
    """

    state: ItemState
    demand: Demand
    lead: Lead
    service_percent: float
    safety: float
    computed_point: float
    reorder_point: float
    is_used: bool
    position: float
    counted: float
    run_out: RunOut
    run_out_with_orders: RunOut
    threat: Threat | None
    lots: tuple[LotOutlook, ...]
    overdue: tuple[Order, ...]
    order_by: date | None
    needs_order: bool
    buy: Buy
    coming: tuple[ComingUse, ...]
    standing: Standing


def plan_item(state: ItemState, lead: Lead, coming: Sequence[ComingUse], today: date) -> ItemPlan:
    """Everything the pages say of an item today."""
    demand = learn(state, today)
    service = state.rules.service_percent or USUAL_SERVICE_PERCENT
    z = z_of(service)
    weeks, sd_weeks = lead.days / 7, lead.sd_days / 7
    figures = (demand.per_week, demand.sd_per_week, weeks, sd_weeks, z)
    computed = reorder_point(*figures)
    point = max(computed, state.rules.reorder_at or 0.0)
    is_used = demand.per_week > 0 or bool(coming) or point > 0
    course = Course(state, demand, coming, today)
    spoiled = sum(lot.spoils for lot in course.lots if lot.is_expired)
    position = rounded(state.on_hand - spoiled + state.outstanding)
    alone = course.run_out(with_orders=False) if is_used else RunOut(None, None, None)
    with_orders = course.run_out(with_orders=True) if state.on_order and is_used else alone
    reach_days = lead.days + z * lead.sd_days
    threat = course.threat(later(today, math.ceil(reach_days + THREAT_DAYS)))
    order_by = _order_by(with_orders, threat, reach_days, today)
    ahead = later(today, reach_days + 7 * WEEKS_WITHOUT_COSTS)
    lost = sum(lot.spoils for lot in course.lots if lot.use_by <= ahead and not lot.is_expired)
    taken = sum(use.quantity for use in coming if use.early_on <= ahead)
    need = _Need(state, demand, taken + lost)
    buy = _buy(need, point, position, threat)
    needs_order = (
        threat is not None
        or (point > 0 and position <= point)
        or (order_by is not None and order_by <= today and (buy.quantity > 0 or buy.limit != ""))
    )
    plan = ItemPlan(
        state, demand, lead, service, safety_stock(*figures), computed, point, is_used,
        position, counted_orders(state, today), alone, with_orders, threat, course.lots,
        tuple(order for order in state.on_order if order.is_overdue(today)), order_by,
        needs_order, buy, tuple(sorted(coming, key=lambda use: use.due_on)), "ok",
    )  # fmt: skip
    return _standing(plan, today)


def unit_cents(state: ItemState) -> float | None:
    """What one unit costs: the last lot with a price, else the list price."""
    prices = (lot.price_cents_per_unit for lot in reversed(state.lots))
    listed = state.rules.list_price_cents
    return next((price for price in prices if price is not None), listed)


def _order_by(
    run_out: RunOut, threat: Threat | None, reach_days: float, today: date
) -> date | None:
    """The latest day to order: the first day of need less the lead time and its variation."""
    days = [run_out.early_on, threat.due_on if threat else None]
    needed_on = min((day for day in days if day is not None), default=None)
    if needed_on is None:
        return None
    return max(today, needed_on - timedelta(days=math.ceil(reach_days)))


@dataclass(frozen=True)
class _Need:
    """What an order is for; `gone` is what queued swaps take, and what spoils, in some weeks."""

    state: ItemState
    demand: Demand
    gone: float

    def wanted(self, point: float, position: float) -> tuple[float, Basis]:
        """What to order at once, before containers and limits."""
        rules, price = self.state.rules, unit_cents(self.state)
        holding = USUAL_HOLDING_PERCENT if rules.holding_percent is None else rules.holding_percent
        per_week = self.demand.per_week
        if per_week <= 0:
            return self._without_use(point, position)
        try:
            costs = rules.order_cost_cents or 0, price or 0, holding
            return economic_quantity(per_week * WEEKS_A_YEAR, *costs), "economic"
        except ValueError:
            return per_week * WEEKS_WITHOUT_COSTS, "weeks"

    def _without_use(self, point: float, position: float) -> tuple[float, Basis]:
        """What the queued swaps lack, and up to twice the reorder point that was entered."""
        lacking = max(0.0, self.gone - position)
        refill = max(0.0, 2 * point - (position - self.gone)) if point > 0 else 0.0
        return (refill, "refill") if refill > lacking else (lacking, "swaps")


def _buy(need: _Need, point: float, position: float, threat: Threat | None) -> Buy:
    state = need.state
    wanted, basis = need.wanted(point, position)
    missing = max(0.0, point - position, threat.short if threat else 0.0)
    if missing > wanted:
        wanted, basis = missing, "missing"
    limit, most = _most(state, need.demand, position)
    containers, quantity = _packed(state, min(wanted, most), most)
    cut = limit if quantity < wanted - 1e-6 else ""
    price = unit_cents(state)
    cost = None if price is None else round(price * quantity)
    return Buy(quantity, rounded(wanted), basis, cut, containers, cost)


def counted_orders(state: ItemState, today: date) -> float:
    """What is on order with a day that has not passed."""
    return rounded(
        sum(
            order.outstanding
            for order in state.on_order
            if order.expected_on is not None and not order.is_overdue(today)
        )
    )


def _most(
    state: ItemState, demand: Demand, position: float
) -> tuple[Literal["", "shelf", "spoils"], float]:
    """The most that may be bought, by the room on the shelf and by what is used in time."""
    limits: list[tuple[float, Literal["", "shelf", "spoils"]]] = [(math.inf, "")]
    if state.rules.max_on_shelf is not None:
        limits.append((max(0.0, state.rules.max_on_shelf - max(0.0, position)), "shelf"))
    if state.rules.shelf_life_days is not None and demand.per_week > 0:
        keeps = demand.per_week * state.rules.shelf_life_days / 7
        limits.append((max(0.0, keeps - max(0.0, position)), "spoils"))
    most, limit = min(limits)
    return limit, most


def _packed(state: ItemState, quantity: float, most: float) -> tuple[tuple[Containers, ...], float]:
    """The quantity in whole containers, and never above the most."""
    sizes = state.container_sizes or ((1.0,) if state.unit in COUNTED_UNITS else ())
    if not sizes:
        return (), rounded(max(0.0, quantity))
    containers = containers_for(quantity, sizes)
    if held_in(containers) > most + 1e-6:
        containers = containers_within(most, sizes)
    return containers if state.container_sizes else (), rounded(held_in(containers))


def _standing(plan: ItemPlan, today: date) -> ItemPlan:
    """The one thing to say of an item first."""
    soon = today + timedelta(days=SOON_DAYS)
    ending = [lot for lot in plan.lots if lot.spoils > 0]
    can_order = plan.buy.quantity > 0
    tests: tuple[tuple[bool, Standing], ...] = (
        (plan.state.on_hand < 0, "recount"),
        (plan.threat is not None, "short"),
        (plan.state.on_hand == 0 and plan.is_used, "none"),
        (plan.needs_order and can_order, "low"),
        (plan.needs_order, "full"),
        (bool(plan.overdue), "late"),
        (any(lot.is_expired for lot in plan.lots), "expired"),
        (any(lot.use_by <= today + timedelta(days=EXPIRING_DAYS) for lot in ending), "expiring"),
        (plan.state.on_hand == 0 and not plan.state.on_order, "new"),
        (plan.order_by is not None and plan.order_by <= soon and can_order, "soon"),
    )
    return replace(plan, standing=next((word for is_so, word in tests if is_so), "ok"))
