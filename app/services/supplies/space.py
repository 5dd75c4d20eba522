"""What may still come onto the shelf: room in the fire area and in the item's cabinet.

What is on order takes its room already, and what is suggested for one item leaves less for those
that are less pressing. Litres stay in the fire area when they go from a container into a bath and
from there into a drum: only a pickup takes them out.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from app.domain.site import SiteState
from app.domain.storage import GHS_TO_C, category_of_key
from app.domain.supplies.ordering import Space
from app.domain.supplies.plan import ItemPlan
from app.domain.supplies.state import ItemState


@dataclass(frozen=True)
class FireArea:
    """The flammable litres there now, and those that booked pickups take, with their days.

    `to_c` is the highest flash point that counts.
    """

    total_l: float
    fetched: tuple[tuple[date, float], ...] = ()
    to_c: float = GHS_TO_C


class SpaceLeft:
    """The room that is left, as suggestions take it up in the order of their urgency."""

    def __init__(
        self, rules: SiteState, items: Iterable[ItemState], today: date, area: FireArea
    ) -> None:
        burning = [item for item in items if is_burning(item, area.to_c)]
        self._today, self._area = today, area
        self._limit_l, self._cabinet_l = rules.flammable_limit_l, rules.cabinet_limit_l
        self._coming_l = sum(item.outstanding for item in burning)
        self._in_cabinet: dict[str, float] = {}
        for item in burning:
            held_l = max(0.0, item.on_hand) + item.outstanding
            place = item.rules.location
            self._in_cabinet[place] = self._in_cabinet.get(place, 0.0) + held_l

    def for_(self, plan: ItemPlan) -> Space | None:
        """What may come in of an item with an order now; None where nothing limits it."""
        if not is_burning(plan.state, self._area.to_c):
            return None
        fire_l = cabinet_l = None
        if self._limit_l is not None:
            days = (self._today, plan.comes_on)
            gone_l = sum(litres for day, litres in self._area.fetched if days[0] <= day < days[1])
            fire_l = self._limit_l - self._area.total_l - self._coming_l + gone_l
        place = plan.state.rules.location
        if self._cabinet_l is not None and place:
            cabinet_l = self._cabinet_l - self._in_cabinet.get(place, 0.0)
        return None if fire_l is None and cabinet_l is None else Space(fire_l, cabinet_l)

    def taken(self, plan: ItemPlan) -> ItemPlan:
        """The same plan; what it suggests to order now has its room from here on."""
        if plan.needs_order and is_burning(plan.state, self._area.to_c):
            self._coming_l += plan.buy.quantity
            place = plan.state.rules.location
            self._in_cabinet[place] = self._in_cabinet.get(place, 0.0) + plan.buy.quantity
        return plan


def is_burning(item: ItemState, to_c: float = GHS_TO_C) -> bool:
    """Whether it is a flammable solvent."""
    return item.category == "solvent" and category_of_key(item.solvent, to_c) is not None
