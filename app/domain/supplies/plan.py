"""What the shelf's page says of an item: how it stands, when to order it and how much."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Literal

from app.domain.supplies.demand import Demand, learn
from app.domain.supplies.ordering import WEEKS_WITHOUT_COSTS, Buy, Need, Space, what_to_buy
from app.domain.supplies.outlook import (
    EXPIRING_DAYS,
    ComingUse,
    Course,
    LotOutlook,
    RunOut,
    Threat,
)
from app.domain.supplies.reorder import (
    USUAL_SERVICE_PERCENT,
    Lead,
    reorder_point,
    safety_stock,
    z_of,
)
from app.domain.supplies.state import ItemState, Order, later
from app.domain.supplies.valuation import rounded
from app.domain.workdays import WorkCalendar

Standing = Literal[
    "short", "none", "recount", "low", "full", "late", "expired", "expiring", "new", "soon", "ok"
]
LISTED_DAYS = 14  # the order list shows what has to be ordered within them
SOON_DAYS = 7
THREAT_DAYS = 3


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
        counted: what is on order and still to come by its day, which the latest day to order
            counts on; an order that is late it does not.
        comes_on: when an order comes that is placed now.
        order_by: the last working day on which an order still comes before some is missing; what is
            missing before `comes_on` no order cures. The first on which one can be placed where
            that has passed, None where nothing runs out within the horizon.
        needs_order: the position has reached the reorder point, the last day to order has come, or
            a swap will lack some that an order now still comes for.
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
    comes_on: date
    order_by: date | None
    needs_order: bool
    buy: Buy
    coming: tuple[ComingUse, ...]
    standing: Standing

    def is_listed(self, today: date) -> bool:
        """There is something to order now or within two weeks."""
        soon = today + timedelta(days=LISTED_DAYS)
        is_soon = self.order_by is not None and self.order_by <= soon
        return self.buy.quantity > 0 and (self.needs_order or is_soon)

    @property
    def is_too_late(self) -> bool:
        """An order placed now comes after the threatened swap is due."""
        return self.threat is not None and self.threat.due_on < self.comes_on


def plan_item(
    state: ItemState,
    lead: Lead,
    coming: Sequence[ComingUse],
    today: date,
    workdays: WorkCalendar | None = None,
    space: Space | None = None,
) -> ItemPlan:
    """Everything the pages say of an item today."""
    workdays = workdays or WorkCalendar()
    demand = learn(state, today)
    service = state.rules.service_percent or USUAL_SERVICE_PERCENT
    z = z_of(service)
    figures = (demand.per_week, demand.sd_per_week, lead.days / 7, lead.sd_days / 7, z)
    computed = reorder_point(*figures)
    point = max(computed, state.rules.reorder_at or 0.0)
    is_used = demand.per_week > 0 or bool(coming) or point > 0
    on_its_way, overdue = _orders(state, lead, workdays, today)
    arrivals = [(day, order.outstanding) for day, order in on_its_way]
    course = Course(state, demand, coming, today, arrivals)
    spoiled = sum(lot.spoils for lot in course.lots if lot.is_expired)
    position = rounded(state.on_hand - spoiled + state.outstanding)
    alone = course.run_out(with_orders=False) if is_used else RunOut(None, None, None)
    with_orders = course.run_out(with_orders=True) if state.on_order and is_used else alone
    timing = _Timing(lead, max(0.0, z * lead.sd_days), workdays, today)
    reach_days = lead.days + timing.slack_days
    until = later(today, math.ceil(reach_days + THREAT_DAYS))
    threat, curable = course.threat(until), course.threat(until, timing.comes_on)
    order_by = timing.order_by(course) if is_used else None
    ahead = later(today, reach_days + 7 * WEEKS_WITHOUT_COSTS)
    lost = sum(lot.spoils for lot in course.lots if lot.use_by <= ahead and not lot.is_expired)
    taken = sum(use.quantity for use in coming if use.early_on <= ahead)
    needs_order = (
        curable is not None
        or (point > 0 and position <= point)
        or (order_by is not None and order_by <= timing.place_on)
    )
    lack = course.lack(timing.comes_on, timing.covered_until) if is_used else 0.0
    buy = what_to_buy(Need(state, demand, taken + lost, lack), point, position, space or Space())
    plan = ItemPlan(
        state, demand, lead, service, safety_stock(*figures), computed, point, is_used,
        position, rounded(sum(quantity for _, quantity in arrivals)), alone, with_orders, threat,
        course.lots, overdue, timing.comes_on, order_by, needs_order, buy,
        tuple(sorted(coming, key=lambda use: use.due_on)), "ok",
    )  # fmt: skip
    return _standing(plan, today)


@dataclass(frozen=True)
class _Timing:
    """When orders are placed and come; `slack_days`: by which they may be late."""

    lead: Lead
    slack_days: float
    workdays: WorkCalendar
    today: date

    @property
    def place_on(self) -> date:
        """The first day on which an order can be placed."""
        return self.workdays.on_or_after(self.today)

    @property
    def comes_on(self) -> date:
        """When it comes then."""
        return self.lead.comes_on(self.place_on, self.workdays)

    @property
    def covered_until(self) -> date:
        """The last day that an order now covers: an order that is placed after the two weeks of
        the list, and comes late, comes for the day after it."""
        ends_on = self.workdays.on_or_after(later(self.today, LISTED_DAYS + 1))
        until = self.lead.comes_on(ends_on, self.workdays, self.slack_days)
        return max(until, later(self.today, self.lead.days + self.slack_days + THREAT_DAYS + 1))

    def order_by(self, course: Course) -> date | None:
        """The last day on which to place an order for what it can still come for."""
        needed_on = course.first_lack_on(self.comes_on)
        if needed_on is None:
            return None
        by = self.lead.place_by(needed_on, self.workdays, self.slack_days)
        return max(self.place_on, by)


def _orders(
    state: ItemState, lead: Lead, workdays: WorkCalendar, today: date
) -> tuple[list[tuple[date, Order]], tuple[Order, ...]]:
    """The orders on their way with the working day each comes on, and those that are late. One
    without a day comes when orders usually do."""
    on_its_way, overdue = [], []
    for order in state.on_order:
        due_on = order.expected_on or lead.comes_on(order.placed_on, workdays)
        if due_on < today:
            overdue.append(order)
        else:
            on_its_way.append((workdays.on_or_after(due_on), order))
    return on_its_way, tuple(overdue)


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
