"""What a swap takes and leaves: fresh solvent, drum space, containers to buy. Litres and kg.

The shares (rinse, heel, squirt bottle) are the site's own; as delivered they are common practice
without a published source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.conventions import bath_density
from app.domain.checklists.filling import fill_target_l, level_l
from app.domain.site import SiteState

US_GALLON_L = 3.785411784  # NIST Handbook 44, appendix C
DRUM_SIZES_L = tuple(gallons * US_GALLON_L for gallons in (5, 15, 30, 55))
"""Nominal sizes drums are sold in (common practice, no source)."""
FINE_UP_TO_L = 1000.0  # beyond it the bulk comes in the largest containers
ML = 1000
TINY_L = 1e-6
NONE = 2**40  # more containers than there are

Counts = NDArray[np.int64]


@dataclass(frozen=True)
class Bath:
    """The bath to be swapped.

    Attributes:
        volume_l: what it holds now.
        capacity_l, min_l: to the upper and the lower mark.
        resin_percent: mass percent of resin expected on the day.
    """

    volume_l: float
    capacity_l: float
    min_l: float | None
    resin_percent: float
    solvent_density_g_ml: float
    resin_density_g_ml: float


@dataclass(frozen=True)
class SwapNeed:
    """What a swap takes and leaves.

    Attributes:
        fill_l: fresh solvent into the tank.
        rinse_l: to rinse settled solids out of the empty tank.
        squirt_l: for the squirt bottle; it ends in wipes, not in the drum.
        drained_l: the old bath without what stays behind.
        waste_kg: mass of what goes into the drum; rinse_kg: the rinse's part of it.
        pair_rinse_l: of a pair that shares a drum: the clean tank's rinse, which goes into the
            drum of this swap; of the clean tank less than nothing, its own that does.
    """

    fill_l: float
    rinse_l: float
    squirt_l: float
    drained_l: float
    waste_kg: float
    rinse_kg: float = 0.0
    pair_rinse_l: float = 0.0

    def times(self, share: float) -> "SwapNeed":
        """The need of a swap that counts by a share."""
        return SwapNeed(
            share * self.fill_l, share * self.rinse_l, share * self.squirt_l,
            share * self.drained_l, share * self.waste_kg, share * self.rinse_kg,
            share * self.pair_rinse_l,
        )  # fmt: skip

    def left(self, *, is_drained: bool, is_rinsed: bool, is_filled: bool) -> "SwapNeed":
        """What a swap under way still takes: the books have what it took and left already."""
        bath_kg = self.waste_kg - self.rinse_kg
        rinse_kg = 0.0 if is_rinsed else self.rinse_kg
        return SwapNeed(
            fill_l=0.0 if is_filled else self.fill_l,
            rinse_l=0.0 if is_rinsed else self.rinse_l,
            squirt_l=0.0 if is_filled else self.squirt_l,
            drained_l=0.0 if is_drained else self.drained_l,
            waste_kg=rinse_kg + (0.0 if is_drained else bath_kg),
            rinse_kg=rinse_kg,
        )

    @property
    def fresh_l(self) -> float:
        """Fresh solvent to have at hand."""
        return self.fill_l + self.rinse_l + self.squirt_l

    @property
    def waste_l(self) -> float:
        """Drum space to have free."""
        return self.drained_l + self.rinse_l + self.pair_rinse_l

    def beside(self, pair_rinse_l: float, density_g_ml: float) -> "SwapNeed":
        """With a rinse of the other tank of its pair in the same drum, or without its own."""
        moved_kg = pair_rinse_l * density_g_ml
        return replace(self, pair_rinse_l=pair_rinse_l, waste_kg=self.waste_kg + moved_kg)


def into_drum_l(bath_l: float, capacity_l: float, from_capacity_l: float, site: SiteState) -> float:
    """What a swap that is under way pours into its drum: its bath without the heel, and a rinse of
    each tank that is rinsed into it.

    Args:
        from_capacity_l: of the clean tank of a pair; 0 without one, or where it is not rinsed.
    """
    drained_l = max(0.0, bath_l - site.heel_percent / 100 * capacity_l)
    return drained_l + site.rinse_percent / 100 * (capacity_l + from_capacity_l)


def swap_need(bath: Bath, site: SiteState) -> SwapNeed:
    """What the swap of a bath takes by the site's shares.

    The tank is filled to between its marks, on top of the heel that stays behind. The bath drained
    is taken as no less than that, since it is topped up until the day. Volumes are taken to add
    up, as for an ideal mixture.
    """
    full_l = level_l(bath.capacity_l, bath.min_l)
    heel_l = site.heel_percent / 100 * bath.capacity_l
    rinse_l = site.rinse_percent / 100 * bath.capacity_l
    drained_l = max(0.0, max(bath.volume_l, full_l) - heel_l)
    density = bath_density(
        bath.resin_percent / 100, bath.resin_density_g_ml, bath.solvent_density_g_ml
    )
    rinse_kg = float(rinse_l * bath.solvent_density_g_ml)
    waste_kg = float(drained_l * density) + rinse_kg
    fill_l = fill_target_l(bath.capacity_l, bath.min_l, heel_l)
    return SwapNeed(fill_l, rinse_l, site.squirt_bottle_l, drained_l, waste_kg, rinse_kg)


def smallest_drum_l(waste_l: float, fill_limit_percent: float) -> float | None:
    """The smallest usual drum that takes so much under its fill limit; None where none does."""
    fitting = (size for size in DRUM_SIZES_L if size * fill_limit_percent / 100 + TINY_L >= waste_l)
    return min(fitting, default=None)


@dataclass(frozen=True)
class Containers:
    """Containers to buy: pairs of size and number, largest first."""

    counts: tuple[tuple[float, int], ...]
    total_l: float
    surplus_l: float


def containers_for(need_l: float, sizes_l: Sequence[float]) -> Containers:
    """The containers that hold at least what is needed, with the least left over.

    Of those that leave hardly more (a hundredth of the need) the fewest containers are taken, since
    each is opened, emptied and disposed of. Sizes count to the millilitre. Where no size is given,
    any amount can be bought. What is needed beyond a cubic metre comes in the largest size.

    Raises:
        ValueError: a size is below a millilitre.
    """
    if need_l <= 0 or not sizes_l:
        return Containers((), max(0.0, need_l), 0.0)
    order = sorted(set(sizes_l), reverse=True)
    sizes = [round(size * ML) for size in order]
    if min(sizes) < 1:
        raise ValueError("a container holds at least a millilitre")
    need = math.ceil(round(need_l * ML, 6))
    bulk = max(0, (need - int(FINE_UP_TO_L * ML)) // sizes[0])
    counts = _filled(need - bulk * sizes[0], sizes)
    counts[0] += bulk
    total = sum(size * count for size, count in zip(sizes, counts, strict=True))
    bought = tuple((size, count) for size, count in zip(order, counts, strict=True) if count)
    return Containers(bought, total / ML, (total - need) / ML)


def _filled(need: int, sizes: list[int]) -> list[int]:
    """Numbers of containers, from the fewest that make up each amount up to one too many."""
    step = math.gcd(*sizes)
    enough, steps = -(-need // step), [size // step for size in sizes]
    fewest: Counts = np.full(enough + max(steps) + 1, NONE, dtype=np.int64)
    fewest[0] = 0
    for size in steps:
        fewest = _with_size(fewest, size)
    least = enough + int(np.argmax(fewest[enough:] < NONE))
    hardly_more = min(least + need // (100 * step), len(fewest) - 1)
    at = least + int(np.argmin(fewest[least : hardly_more + 1]))
    counts = [0] * len(steps)
    while at > 0:
        place = next(
            i for i, size in enumerate(steps) if at >= size and fewest[at - size] == fewest[at] - 1
        )
        counts[place] += 1
        at -= steps[place]
    return counts


def _with_size(fewest: Counts, size: int) -> Counts:
    """The fewest containers when one more size may be taken any number of times."""
    rows = -(-len(fewest) // size)
    grid = np.full(rows * size, NONE, dtype=np.int64)
    grid[: len(fewest)] = fewest
    taken = np.arange(rows, dtype=np.int64)[:, None]
    best = np.minimum.accumulate(grid.reshape(rows, size) - taken, axis=0) + taken
    return np.minimum(best.reshape(-1)[: len(fewest)], NONE)
