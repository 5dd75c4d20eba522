"""What happens in a bath, computed from masses alone: the truth that the program never sees.

Written from the physical description only and from nothing in `app.domain.baths`, so that an error
in the estimator cannot hide behind the same error here.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Masses = NDArray[np.float64]

# 2-propanol with water at 20 C and its slope from 15 to 30 C: densities measured by Lebo (J. Am.
# Chem. Soc. 43, 1005, 1921) at 90.35 and 100 mass %, interpolated with their excess volume.
SOLVENT_DENSITY_20C_G_ML = {99.0: 0.78830, 95.0: 0.79838, 91.0: 0.80788}
SOLVENT_SLOPE_G_ML_K = -0.00090
RESIN_SLOPE_G_ML_K = -0.0008  # common for acrylates, no source
FILLER_DENSITY_G_ML = 2.50  # density of common glass, from memory


@dataclass
class Bath:
    """The liquid in one tank.

    Attributes:
        capacity_l: volume to the upper mark.
        solvent_density_g_ml: at 20 C.
        resin_density_g_ml: of each resin's dissolved part at 20 C.
        shown_density_g_ml: the same as a hydrometer sees it, with the filler that floats.
        resin_g: dissolved mass of each resin.
        solvent_g: mass of solvent.
    """

    capacity_l: float
    solvent_density_g_ml: float
    resin_density_g_ml: Masses
    shown_density_g_ml: Masses
    resin_g: Masses = field(init=False)
    solvent_g: float = field(init=False)

    def __post_init__(self) -> None:
        self.resin_g = np.zeros_like(self.resin_density_g_ml)
        self.solvent_g = 1000 * self.capacity_l * self.solvent_density_g_ml

    def copy(self) -> "Bath":
        densities = (self.solvent_density_g_ml, self.resin_density_g_ml, self.shown_density_g_ml)
        twin = Bath(self.capacity_l, *densities)
        twin.resin_g, twin.solvent_g = self.resin_g.copy(), self.solvent_g
        return twin

    @property
    def volume_l(self) -> float:
        """Ideal mixing: the volumes add."""
        resin_ml = float((self.resin_g / self.resin_density_g_ml).sum())
        return (resin_ml + self.solvent_g / self.solvent_density_g_ml) / 1000

    @property
    def saturation_percent(self) -> float:
        resin_g = float(self.resin_g.sum())
        return 100 * resin_g / (resin_g + self.solvent_g)

    def wash(self, resin: int, carried_in_g: float, dragged_out_ml: float) -> None:
        """Wet parts bring resin in and leave with a film of bath liquid."""
        self.take_out(dragged_out_ml / 1000)
        self.resin_g[resin] += carried_in_g

    def take_out(self, volume_l: float) -> None:
        kept = max(0.0, 1 - volume_l / self.volume_l)
        self.resin_g *= kept
        self.solvent_g *= kept

    def evaporate(self, fraction_of_fill: float) -> None:
        lost_g = fraction_of_fill * 1000 * self.capacity_l * self.solvent_density_g_ml
        self.solvent_g = max(0.5 * self.solvent_g, self.solvent_g - lost_g)

    def add_solvent(self, volume_l: float) -> None:
        self.solvent_g += 1000 * max(0.0, volume_l) * self.solvent_density_g_ml

    def swap(self, heel_fraction: float) -> None:
        """Drained but for a heel, filled to the mark."""
        self.take_out(self.volume_l - heel_fraction * self.capacity_l)
        self.add_solvent(self.capacity_l - self.volume_l)

    def density_g_ml(self, seen_percent: float, temperature_c: float) -> float:
        """Density of a mixture of these resins and solvent with `seen_percent` resin by mass."""
        warmer_k = temperature_c - 20
        solvent = self.solvent_density_g_ml + SOLVENT_SLOPE_G_ML_K * warmer_k
        share = self.resin_g / self.resin_g.sum() if self.resin_g.sum() > 0 else None
        at_20c = (
            self.shown_density_g_ml[0]
            if share is None
            else 1 / float((share / self.shown_density_g_ml).sum())
        )
        resin = at_20c + RESIN_SLOPE_G_ML_K * warmer_k
        w = seen_percent / 100
        return 1 / (w / resin + (1 - w) / solvent)


def label_density_g_ml(binder_g_ml: float, filler_fraction: float) -> float:
    """Density of a filled resin as sold: binder and glass side by side."""
    return 1 / (filler_fraction / FILLER_DENSITY_G_ML + (1 - filler_fraction) / binder_g_ml)
