"""A bath as an entry finds it."""

from dataclasses import dataclass
from typing import Any

from app.domain.baths.estimator.bath import Bath, Joint
from app.domain.baths.estimator.beliefs import belief_of
from app.domain.baths.estimator.facts import TankFacts
from app.domain.baths.estimator.results import UNREAD, Effect
from app.domain.baths.estimator.roomstate import RoomState
from app.domain.baths.estimator.transitions import Liquid
from app.domain.roomlog import kinds


@dataclass
class Scene:
    """A bath as an entry finds it, time having passed up to the entry."""

    room: RoomState
    entry: Any
    facts: TankFacts
    bath: Bath
    joint: Joint
    liquid: Liquid
    evaporated_g: float
    percent: float
    resin_g: float

    def resin_now_g(self) -> float:
        """Mean mass of resin as it is by now."""
        return self.bath.resin_g(self.joint)

    def to_mark_l(self) -> float:
        """Litres missing to the upper mark as it is by now."""
        litres = self.bath.means(self.joint)[:, :2] @ self.liquid.volume_weights
        return self.facts.capacity_l - float(self.joint.weight @ litres)

    def effect(self, **details: Any) -> Effect:
        """The effect of the entry, with the belief as it is by now."""
        tank = self.entry.tank
        has_reasons = isinstance(self.entry, kinds.Reading) or self.facts.wrong_entry is not None
        belief = belief_of(self.room, tank, self.bath, self.joint, self.entry.at, has_reasons)
        if "unread_for_a_year" in belief.flags:
            details["notes"] = (*details.get("notes", ()), UNREAD)
        return Effect(
            tank, self.facts.fill, belief, self.percent,
            evaporated_g=self.evaporated_g, flags=belief.flags, **details,
        )  # fmt: skip
