"""The shelf as it stands today: each item against its reorder point and the swaps to come."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from sqlmodel import Session

from app.domain.checklists.run import SwapState
from app.domain.planning.needs import Bath, SwapNeed, swap_need
from app.domain.planning.parts import due_by_item
from app.domain.planning.under_way import by_tank, left_of
from app.domain.roomlog.kinds.checklists import SWAP
from app.domain.roomlog.kinds.inspections import COMPONENT
from app.domain.roomlog.kinds.supplies import ITEM, StockUsed
from app.domain.roomlog.kinds.waste import DRUM, PICKUP
from app.domain.site import SiteState
from app.domain.storage import DRUMS, fire_area
from app.domain.supplies.ordering import Space
from app.domain.supplies.outlook import TINY, ComingUse
from app.domain.supplies.plan import ItemPlan, Standing, plan_item
from app.domain.supplies.reorder import Lead, lead_of
from app.domain.supplies.state import ItemState
from app.domain.workdays import WorkCalendar
from app.services.caching import kept
from app.services.storage import baths_of, flammable_to_c
from app.services.supplies.space import FireArea, SpaceLeft
from app.services.workdays import calendar_of
from app.store import queries
from app.store.queries import Board, TankView
from app.store.site import site
from app.store.tables import RoomRow
from app.store.things import things

URGENCY: tuple[Standing, ...] = (
    "short", "none", "recount", "low", "full", "late", "expired", "expiring", "new", "soon", "ok",
)  # fmt: skip
PURITY_SLACK_PERCENT = 1.0


@dataclass(frozen=True)
class Shelf:
    """All items that are kept, the most pressing first.

    Attributes:
        today: the day it is in the room; workdays: the site's.
        unnamed: items that movements name and nobody has set up.
        days_as_of: of the board that the swaps to come are from.
    """

    today: date
    plans: tuple[ItemPlan, ...]
    unnamed: tuple[ItemState, ...]
    workdays: WorkCalendar
    days_as_of: datetime | None

    def plan(self, key: str) -> ItemPlan | None:
        """The item of that key."""
        return next((plan for plan in self.plans if plan.state.key == key), None)

    @property
    def threats(self) -> list[ItemPlan]:
        """Items that a queued swap will lack, by the day of the swap."""
        found = [plan for plan in self.plans if plan.threat is not None]
        return sorted(found, key=lambda plan: plan.threat.due_on if plan.threat else self.today)


def read_shelf(session: Session, room: RoomRow, now: datetime, board: Board | None = None) -> Shelf:
    """The shelf of a room today, kept until something is entered or the day changes."""
    assert room.id is not None
    today = now.astimezone(ZoneInfo(room.time_zone)).date()
    seen = (room.edition, today, room.time_zone)
    return kept(session, room.id, "shelf", seen, lambda: _worked_out(session, room, now, board))


def _worked_out(session: Session, room: RoomRow, now: datetime, board: Board | None) -> Shelf:
    assert room.id is not None
    all_items: Mapping[str, ItemState] = things(session, room.id, ITEM)
    states = {key: state for key, state in all_items.items() if not state.is_retired}
    rules = site(session, room.id)
    board = board or queries.board(session, room.id, now)
    zone = ZoneInfo(room.time_zone)
    today = now.astimezone(zone).date()
    named = [state for state in states.values() if state.name]
    led = by_tank(things(session, room.id, SWAP, only_open=True).values())
    due = due_by_item(things(session, room.id, COMPONENT, only_open=True))
    coming = coming_uses(named, board, rules, today, zone, led, due)
    delivered = delivered_days(named)
    workdays = calendar_of(rules, today)

    def planned(state: ItemState, space: Space | None = None) -> ItemPlan:
        lead = lead_time(state, rules, delivered)
        return plan_item(state, lead, coming.get(state.key, ()), today, workdays, space)

    plans = sorted((planned(state) for state in named), key=_urgency)
    if rules.flammable_limit_l is not None or rules.cabinet_limit_l is not None:
        area = _area(session, room.id, board, all_items)
        space = SpaceLeft(rules, all_items.values(), today, area)
        plans = [space.taken(_bound(plan, space.for_(plan), planned)) for plan in plans]
    unnamed = tuple(state for state in states.values() if not state.name)
    ordered = tuple(sorted(plans, key=_urgency))
    return Shelf(today, ordered, unnamed, workdays, board.days_as_of)


def _bound(
    plan: ItemPlan, space: Space | None, planned: Callable[[ItemState, Space | None], ItemPlan]
) -> ItemPlan:
    """A plan that suggests no more than has room; worked out anew only where it does."""
    fits = space is None or space.holds(plan.buy.quantity)
    return plan if fits else planned(plan.state, space)


def _urgency(plan: ItemPlan) -> tuple[int, str]:
    return URGENCY.index(plan.standing), plan.state.name.lower()


def _area(session: Session, room_id: int, board: Board, items: Mapping[str, ItemState]) -> FireArea:
    drums = things(session, room_id, DRUM, only_open=True)
    pickups = things(session, room_id, PICKUP, only_open=True).values()
    to_c = flammable_to_c(session, room_id)
    baths = baths_of(session, room_id, board.tanks)
    stored = fire_area(baths, items.values(), drums.values(), None, to_c)
    litres = {one.key: one.litres for one in stored.stored if one.where == DRUMS and one.category}
    fetched = tuple(
        (pickup.pickup_on, sum(litres.get(drum, 0.0) for drum in pickup.drums))
        for pickup in pickups
        if pickup.is_booked and pickup.pickup_on is not None
    )
    return FireArea(stored.total_l, fetched, to_c)


def delivered_days(states: Iterable[ItemState]) -> dict[str, list[int]]:
    """How many days each supplier's last orders took, whatever the item."""
    found: dict[str, dict[tuple[str, date], int]] = {}
    for state in states:
        for order in state.past_orders:
            if order.lead_days is not None and order.supplier:
                delivery = order.order, order.closed_on  # of many items, it counts once
                found.setdefault(order.supplier, {})[delivery] = order.lead_days
    return {supplier: list(days.values()) for supplier, days in found.items()}


def lead_time(state: ItemState, rules: SiteState, delivered: Mapping[str, Sequence[int]]) -> Lead:
    """The lead time of an item from its usual supplier, in calendar days."""
    site_days = None
    if state.category == "solvent":  # the site says it in working days
        site_days = rules.solvent_lead_days * 7 / max(1, len(rules.weekdays))
    return lead_of(
        delivered.get(state.rules.supplier, ()) if state.rules.supplier else (),
        state.rules.lead_days, state.rules.lead_sd_days, site_days,
        None if site_days is None else rules.solvent_lead_days,
    )  # fmt: skip


def coming_uses(
    states: Sequence[ItemState], board: Board, rules: SiteState, today: date, zone: ZoneInfo,
    led: Mapping[str, SwapState], due: Mapping[str, Mapping[str, float]],
) -> dict[str, list[ComingUse]]:  # fmt: skip
    """What each queued swap takes, by item: the bath's solvent, what every swap takes, and the
    parts that are due.

    Args:
        led: the swaps under way, by the tanks they are of.
        due: how many of an item are to be replaced at a tank's next swap, by item and tank.
    """
    found: dict[str, list[ComingUse]] = {}
    solvents = [state for state in states if state.category == "solvent"]
    for swap in board.swaps:
        tank = board.tank(swap.tank)
        if tank is None:
            continue
        due_at = tank.swap_started_at if swap.urgency == "swapping" else swap.due_at
        if due_at is None:
            continue
        days = [
            max(today, at.astimezone(zone).date())
            for at in (due_at, swap.early_at or due_at, swap.late_at or due_at)
        ]
        wanted = {
            state.key: (state.rules.used_per_swap or 0.0)
            + due.get(state.key, {}).get(tank.key, 0.0)
            - _taken(state, tank)
            for state in states
        }
        source = solvent_for(tank, solvents)
        if source is not None:
            listed = led.get(tank.key)
            wanted[source.key] = (
                fresh_l(tank, rules) - _taken(source, tank)
                if listed is None
                else left_of(
                    _need(tank, rules), tank.key, listed, rules, tank.solvent_density_g_ml
                ).fresh_l
            )
        for state in states:
            if (quantity := wanted[state.key]) > TINY:
                use = ComingUse(tank.key, tank.name, quantity, *days)
                found.setdefault(state.key, []).append(use)
    return found


def solvent_for(tank: TankView, solvents: Iterable[ItemState]) -> ItemState | None:
    """The item that a tank is filled from: its solvent, pure enough, most of it on hand."""
    fitting = [
        state
        for state in solvents
        if state.solvent == tank.solvent
        and (state.purity_percent or 100) >= tank.fresh_purity_percent - PURITY_SLACK_PERCENT
    ]
    return max(
        fitting,
        key=lambda s: (-abs((s.purity_percent or 100) - tank.fresh_purity_percent), s.on_hand),
        default=None,
    )


def fresh_l(tank: TankView, rules: SiteState) -> float:
    """Fresh solvent that the tank's next swap takes, with rinsing and the squirt bottle."""
    return _need(tank, rules).fresh_l


def _need(tank: TankView, rules: SiteState) -> SwapNeed:
    bath = Bath(
        tank.volume_l, tank.capacity_l, tank.min_l, tank.mean_percent, tank.solvent_density_g_ml,
        tank.resin_density_g_ml,
    )  # fmt: skip
    return swap_need(bath, rules)


def _taken(state: ItemState, tank: TankView) -> float:
    """What a swap under way has had of an item already, in its unit."""
    since = tank.swap_started_at
    if since is None:
        return 0.0
    used = (
        -move.change
        for move in state.recent
        if move.kind == StockUsed.kind and move.tank == tank.key and move.at >= since
    )
    return sum(used, 0.0)
