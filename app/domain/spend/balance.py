"""Where the solvent went: what came in against what is there, what left, and what is unexplained.

Litres, resin included: parts carry resin into the baths, and it leaves with the waste.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

LEAST_TOLERANCE_L = 2.0  # common practice, no source: less than marks on walls can show
LOSS_DOUBT = 0.3  # evaporation as it is estimated (estimator/settings.py evaporation_noise)


@dataclass(frozen=True)
class Balance:
    """A period's balance; `in_tanks_l` and `on_shelf_l` are changes from its begin to its end.

    Attributes:
        bought_l, resin_l: what came: deliveries; resin that parts carried into the baths.
        set_up_l: what new tanks held when they came into use.
        drums_l: poured into waste drums.
        lost_l: dragged out with parts and evaporated, as the estimator has it.
        scrapped_l: thrown away unused.
        moved_l: what the log moved at all, fills and pours: what the tolerance is measured by.
        weeks: how many weeks it covers.
    """

    bought_l: float = 0.0
    resin_l: float = 0.0
    set_up_l: float = 0.0
    on_shelf_l: float = 0.0
    in_tanks_l: float = 0.0
    drums_l: float = 0.0
    lost_l: float = 0.0
    scrapped_l: float = 0.0
    moved_l: float = 0.0
    weeks: int = 1

    @property
    def came_l(self) -> float:
        """Everything that came in."""
        return self.bought_l + self.resin_l + self.set_up_l

    @property
    def unexplained_l(self) -> float:
        """What no line accounts for; below zero where more is there, or left, than came."""
        there_l = self.on_shelf_l + self.in_tanks_l
        return self.came_l - there_l - self.drums_l - self.lost_l - self.scrapped_l

    def tolerance_l(self, percent: float) -> float:
        """What may be unexplained before it is flagged: of what was moved, and of the losses.

        Over several weeks the errors of single weeks partly cancel: their squares add up.
        """
        whole_l = percent / 100 * self.moved_l + LOSS_DOUBT * abs(self.lost_l)
        return max(LEAST_TOLERANCE_L, whole_l / math.sqrt(max(self.weeks, 1)))

    def is_flagged(self, percent: float) -> bool:
        """The unexplained part is more than the tolerance."""
        return abs(self.unexplained_l) > self.tolerance_l(percent)

    def plus(self, other: "Balance") -> "Balance":
        """The same solvent over both periods."""
        names = self.__dataclass_fields__
        return Balance(**{name: getattr(self, name) + getattr(other, name) for name in names})


CAME = ("bought_l", "resin_l", "set_up_l")
WENT = ("in_tanks_l", "on_shelf_l", "drums_l", "lost_l", "scrapped_l")
UNEXPLAINED = "unexplained_l"
Shown = Mapping[str, int]
"""A balance in whole steps of what is shown, by name; what came is what went and is unexplained."""


def shown_in(balance: Balance, steps_per_l: float) -> Shown:
    """A balance as it is shown: its parts rounded, and what is unexplained what they leave.

    So a reader who adds a row up finds that it closes, and so do sums of rows.
    """
    steps = {name: round(getattr(balance, name) * steps_per_l) for name in (*CAME, *WENT)}
    steps[UNEXPLAINED] = came(steps) - sum(steps[name] for name in WENT)
    return steps


def came(shown: Shown) -> int:
    """Everything that came in."""
    return sum(shown[name] for name in CAME)


def summed(some: Iterable[Shown]) -> dict[str, int]:
    """Several balances in one."""
    sums = dict.fromkeys((*CAME, *WENT, UNEXPLAINED), 0)
    for shown in some:
        for name, steps in shown.items():
            sums[name] += steps
    return sums
