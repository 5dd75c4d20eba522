"""The baths of a what-if case side by side, and what goes through them.

Arrays have a row a bath and a column a path, or one column where paths do not differ.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.forecast import masses

Array = NDArray[np.floating[Any]]

NAMES = (
    "renewals", "fresh_l", "rinse_l", "waste_l", "waste_kg", "waste_resin_kg", "residue_g",
    "resin_in_kg", "brought_g", "lost_kg", "past_washes", "drained_share",
)  # fmt: skip


@dataclass(frozen=True)
class Vessels:
    """The baths of a case side by side; columns of one number where paths do not differ.

    Attributes:
        below_l: topped up to the mark below it. removed_l: taken out a day.
        evaporated_g: a day.
        early_percent: from here on a swap is early due, by path; limit_percent: the limit itself.
        life_days, life_washes: infinite where they end no bath.
        renew_share: share of the bath that is changed when it is due: 1 is a swap.
        behind: row of the clean bath that parts go on to, with a film of this one; its own row
            where they leave. carry: how many times the resin of that film they bring into it.
        moves: at a swap the liquid of the clean bath behind takes the place of what is drained, and
            the clean one is filled afresh; the pair is swapped as soon as either is due.
        since_day: the bath is in use from that day on.
        heel: share of a drained bath that stays.
    """

    capacity_l: Array
    below_l: Array
    removed_l: Array
    solvent_g_ml: Array
    resin_g_ml: Array
    evaporated_g: Array
    early_percent: Array
    limit_percent: Array
    life_days: Array
    life_washes: Array
    rinse_l: Array
    behind: NDArray[np.int64]
    carry: Array
    moves: NDArray[np.bool_]
    since_day: NDArray[np.int64]
    renew_share: float = 1.0
    heel: float = 0.02

    @property
    def passes(self) -> NDArray[np.bool_]:
        """Baths whose parts go on to another."""
        found: NDArray[np.bool_] = (self.behind != np.arange(len(self.behind)))[:, None]
        return found

    @property
    def into(self) -> Array:
        """1 where the parts of a bath (column) go on to another (row)."""
        found = np.zeros((len(self.behind), len(self.behind)))
        for row, behind in enumerate(self.behind):
            found[behind, row] = float(behind != row)
        return found

    @property
    def firsts(self) -> NDArray[np.bool_]:
        """Baths that parts come to first: those that no other stands before."""
        found: NDArray[np.bool_] = (self.into.sum(axis=1) == 0)[:, None]
        return found

    @property
    def last(self) -> NDArray[np.int64]:
        """Row of the bath whose liquid leaves on the parts of each."""
        last = self.behind
        for _ in last:
            last = last[last]
        return last

    def level_l(self, resin_g: Array, solvent_g: Array) -> Array:
        """Volume of liquids of these baths."""
        return masses.volume_l(resin_g, solvent_g, self.resin_g_ml, self.solvent_g_ml)

    def full(self, percent: Array) -> tuple[Array, Array]:
        """Resin and solvent of baths at their mark with a saturation."""
        share = percent / 100
        density = 1 / (share / self.resin_g_ml + (1 - share) / self.solvent_g_ml)
        whole_g = 1000 * self.capacity_l * density
        return share * whole_g, (1 - share) * whole_g


@dataclass
class Baths:
    """Masses of the baths and what has passed since each fill."""

    resin_g: Array
    solvent_g: Array
    age_days: Array
    washes: Array

    def copy(self) -> "Baths":
        """A copy that goes its own way."""
        return Baths(*(value.copy() for value in vars(self).values()))


@dataclass
class Flows:
    """What went through each bath by path.

    Attributes:
        renewals: swaps, or renewals of a part.
        fresh_l: fresh solvent into baths; `rinse_l` for rinsing and the squirt bottle.
        waste_l, waste_kg, waste_resin_kg: drained or taken out, with the rinse.
        residue_g: resin that left on parts with the film of their last bath.
        brought_g: resin that parts brought along from the bath before, beyond which `resin_in_kg`
            is new.
        lost_kg: solvent evaporated or dragged out.
        past_washes: washes in a bath past its limit.
        drained_share: saturations at the swaps, as shares of the limit, summed.
    """

    renewals: Array
    fresh_l: Array
    rinse_l: Array
    waste_l: Array
    waste_kg: Array
    waste_resin_kg: Array
    residue_g: Array
    resin_in_kg: Array
    brought_g: Array
    lost_kg: Array
    past_washes: Array
    drained_share: Array
    end: Baths = field(repr=False)


def start_at(vessels: Vessels, percent: Array) -> Baths:
    """Baths at their mark with a saturation."""
    resin_g, solvent_g = vessels.full(percent)
    share = np.clip(percent / vessels.limit_percent, 0, 1)
    life = np.where(np.isfinite(vessels.life_days), vessels.life_days, 0.0)
    washes = np.where(np.isfinite(vessels.life_washes), vessels.life_washes, 0.0)
    return Baths(resin_g, solvent_g, share * life, share * washes)


def rows_of(values: Sequence[float]) -> Array:
    """A column of one number a bath."""
    return np.array(values, dtype=float).reshape(-1, 1)
