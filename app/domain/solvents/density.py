"""Densities of a solvent, of water and of their mixture, by temperature."""

from collections.abc import Callable
from dataclasses import dataclass

from app.domain.errors import DomainError

MOLAR_MASS_WATER_G_MOL = 18.01528
REFERENCE_C = 20.0


def water_density_g_ml(temperature_c: float) -> float:
    """Density of air-free water at 101.325 kPa in g/mL, 0 to 40 C.

    Source: Tanaka et al., Metrologia 38 (2001) 301, the formula recommended by the CIPM.

    >>> round(water_density_g_ml(20.0), 5)
    0.99821
    """
    warm = temperature_c - 3.983035
    share = warm * warm * (temperature_c + 301.797) / (522528.9 * (temperature_c + 69.34881))
    return 0.99997495 * (1.0 - share)


@dataclass(frozen=True)
class DensityModel:
    """Density of a solvent that holds some water.

    1/rho = w/rho_s + (1-w)/rho_w + N V, with w the mass fraction of solvent, N = w/M + (1-w)/M_w
    the moles in a gram and V = x(1-x)[A0 + A1(2x-1) + A2(2x-1)^2] the excess volume at mole
    fraction x (Redlich and Kister). V is taken at 20 C for all temperatures. Without A the volumes
    simply add.

    Attributes:
        density_20c_g_ml: of the pure solvent at 20 C.
        expansion: change of the pure solvent's density per K, K^2 and K^3 from 20 C, g/mL.
        sd_g_ml: standard uncertainty of the density within the fitted range.
        molar_mass_g_mol: M.
        excess_cm3_mol: A0, A1, A2.
        fitted_from_percent: lowest purity of the fitted range, mass percent.
        sd_outside_g_ml: standard uncertainty below that range.
        sd_per_water_percent_g_ml: more uncertainty per percent of water, where the volumes add.
        is_water: the liquid is water whatever else it holds.
    """

    density_20c_g_ml: float
    expansion: tuple[float, float, float]
    sd_g_ml: float
    molar_mass_g_mol: float
    excess_cm3_mol: tuple[float, ...] = ()
    fitted_from_percent: float = 0.0
    sd_outside_g_ml: float = 0.0
    sd_per_water_percent_g_ml: float = 0.0
    is_water: bool = False

    def pure_g_ml(self, temperature_c: float) -> float:
        """Density of the pure solvent in g/mL."""
        if self.is_water:
            offset = self.density_20c_g_ml - water_density_g_ml(REFERENCE_C)
            return water_density_g_ml(temperature_c) + offset
        k = temperature_c - REFERENCE_C
        first, second, third = self.expansion
        return self.density_20c_g_ml + k * (first + k * (second + k * third))

    def density_g_ml(self, temperature_c: float, purity_percent: float) -> float:
        """Density in g/mL of solvent with `purity_percent` by mass, the rest water."""
        if self.is_water:
            return self.pure_g_ml(temperature_c)
        w = purity_percent / 100
        specific_volume = w / self.pure_g_ml(temperature_c) + self._rest_ml_g(temperature_c, w)
        return 1 / specific_volume

    def sd(self, purity_percent: float) -> float:
        """Standard uncertainty in g/mL of `density_g_ml`, the purity taken as known."""
        if purity_percent < self.fitted_from_percent:
            return self.sd_outside_g_ml
        return self.sd_g_ml + self.sd_per_water_percent_g_ml * (100 - purity_percent)

    def purity_percent(self, temperature_c: float, density_g_ml: float) -> float:
        """Purity in mass percent at which the mixture has that density.

        A liquid lighter than the pure solvent gives more than 100 %.

        Raises:
            DomainError: no mixture of this solvent and water has that density.
        """
        if self.is_water:
            raise DomainError("In a water-based wash, density cannot show added water.")
        return root(
            lambda percent: self.density_g_ml(temperature_c, percent) - density_g_ml,
            self.fitted_from_percent,
            110.0,
            "No mixture of this solvent and water has that density.",
        )

    def _rest_ml_g(self, temperature_c: float, w: float) -> float:
        """Volume of the water in a gram of mixture and of the contraction, mL/g."""
        water = (1 - w) / water_density_g_ml(temperature_c)
        if not self.excess_cm3_mol:
            return water
        moles = w / self.molar_mass_g_mol + (1 - w) / MOLAR_MASS_WATER_G_MOL
        x = w / self.molar_mass_g_mol / moles
        z = 2 * x - 1
        series = sum(a * z**power for power, a in enumerate(self.excess_cm3_mol))
        return water + moles * x * (1 - x) * series


def root(function: Callable[[float], float], low: float, high: float, otherwise: str) -> float:
    """Where a monotonic function passes zero between `low` and `high`, by bisection.

    Raises:
        DomainError: with the message `otherwise`, where it does not.
    """
    at_low = function(low)
    if at_low == 0:
        return low
    if at_low * function(high) > 0:
        raise DomainError(otherwise)
    for _ in range(60):
        middle = (low + high) / 2
        if function(middle) * at_low > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2
