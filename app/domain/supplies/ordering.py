"""How much of an item to order at once: what it is for, containers, and the limits that bind it.

An order that is placed and entered leaves nothing to order for the two weeks that the order list
shows, unless a limit cuts it: by the (R, nQ) rule the quantity is taken so many times that the
position passes the reorder point (Silver, Pyke and Peterson, from memory), and is no less than what
is missing on any day that an order of these two weeks would come for.
"""

import math
from dataclasses import dataclass
from typing import Literal

from app.domain.roomlog.kinds.supplies import COUNTED_UNITS
from app.domain.supplies.demand import Demand
from app.domain.supplies.reorder import (
    USUAL_HOLDING_PERCENT,
    WEEKS_A_YEAR,
    Containers,
    containers_for,
    containers_within,
    economic_quantity,
    held_in,
)
from app.domain.supplies.state import ItemState
from app.domain.supplies.valuation import rounded

SHOWN = 0.01  # of a unit: less than that no form shows
WEEKS_WITHOUT_COSTS = 4.0  # ordered at once where no costs are entered: common practice, no source
Limit = Literal["", "shelf", "spoils", "fire", "cabinet", "minimum"]


Basis = Literal["economic", "weeks", "missing", "swaps", "refill"]


@dataclass(frozen=True)
class Buy:
    """What to order.

    Attributes:
        quantity: in containers where sizes are known; 0 where nothing is to be ordered, or nothing
            may be added to the shelf.
        wanted: before it was rounded to containers and held to the limits of the shelf.
        basis: what set it: the economic quantity, some weeks of use, what is missing, what the
            queued swaps take, twice the reorder point that was entered.
        limit: what cut it down: the most that may be kept on the shelf, what would spoil, the fire
            area, the cabinet, or that less may come in than the supplier takes an order for.
        cost_cents: at the last known price; None where none is known.
    """

    quantity: float
    wanted: float
    basis: Basis
    limit: Limit
    containers: tuple[Containers, ...]
    cost_cents: int | None


def unit_cents(state: ItemState) -> float | None:
    """What one unit costs: the last lot with a price, else the list price."""
    prices = (lot.price_cents_per_unit for lot in reversed(state.lots))
    listed = state.rules.list_price_cents
    return next((price for price in prices if price is not None), listed)


@dataclass(frozen=True)
class Need:
    """What an order is for.

    Attributes:
        gone: what queued swaps take, and what spoils, in some weeks.
        lack: the most that is missing on a day that an order now would come for.
    """

    state: ItemState
    demand: Demand
    gone: float
    lack: float = 0.0

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


@dataclass(frozen=True)
class Space:
    """What more may come in, in the item's unit; None where nothing limits it.

    Attributes:
        fire: into the fire area; cabinet: into the item's own.
    """

    fire: float | None = None
    cabinet: float | None = None

    def holds(self, quantity: float) -> bool:
        """So much may come in."""
        return all(quantity <= most for most in (self.fire, self.cabinet) if most is not None)


def what_to_buy(need: Need, point: float, position: float, space: Space) -> Buy:
    """What to order at once; nothing where the limits leave no room for a container of it."""
    state = need.state
    wanted, basis = need.wanted(point, position)
    if 0 < wanted <= point - position + SHOWN:
        step = max(wanted, SHOWN)
        wanted = step * (math.floor((point - position + SHOWN) / step) + 1)
    if need.lack > wanted:
        wanted, basis = need.lack, "missing"
    limit, most = _most(state, need.demand, position, space)
    least = state.rules.order_minimum or 0.0
    containers, quantity = _packed(state, min(max(wanted, least if wanted else 0.0), most), most)
    cut: Limit = limit if quantity < wanted - 1e-6 else ""
    if 0 < quantity < least - 1e-6:
        containers, quantity, cut = (), 0.0, "minimum"
    price = unit_cents(state)
    cost = None if price is None else round(price * quantity)
    return Buy(quantity, rounded(wanted), basis, cut, containers, cost)


def _most(state: ItemState, demand: Demand, position: float, space: Space) -> tuple[Limit, float]:
    """The most that may be bought, by the room there is for it and by what is used in time."""
    limits: list[tuple[float, Limit]] = [(math.inf, "")]
    if space.fire is not None:
        limits.append((max(0.0, space.fire), "fire"))
    if space.cabinet is not None:
        limits.append((max(0.0, space.cabinet), "cabinet"))
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
        shown = math.ceil(rounded(quantity) / SHOWN - 1e-6) * SHOWN  # as a form shows it
        return (), rounded(max(0.0, shown if shown <= most else math.floor(most / SHOWN) * SHOWN))
    containers = containers_for(quantity, sizes)
    if held_in(containers) > most + 1e-6:
        containers = containers_within(most, sizes)
    return containers if state.container_sizes else (), rounded(held_in(containers))
