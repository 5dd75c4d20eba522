"""Saturation by mass, by volume and in grams per litre of bath, converted exactly.

"10 %" means a third more resin by volume than by mass, so each figure carries its basis. Volumes
of resin and solvent are taken to add. The formulas without percent work on numbers, numpy arrays
and quantities with units alike.
"""

from typing import TYPE_CHECKING, Literal, TypeVar, get_args

from app.domain.errors import DomainError

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

Basis = Literal["mass_percent", "volume_percent", "g_per_l"]
BASES: tuple[Basis, ...] = get_args(Basis)
G_PER_L = 1000.0  # in one g/mL

Value = TypeVar("Value", float, "NDArray[np.float64]")


def bath_density(mass_fraction: Value, resin_density: float, solvent_density: float) -> Value:
    """Density of a bath: 1/rho = w/rho_R + (1-w)/rho_S.

    >>> round(bath_density(0.10, 1.12, 0.78830), 5)
    0.81236
    """
    return 1 / (mass_fraction / resin_density + (1 - mass_fraction) / solvent_density)


def mass_fraction_of_density(density: Value, resin_density: float, solvent_density: float) -> Value:
    """Resin mass fraction of a bath: w = rho_R (rho - rho_S) / [rho (rho_R - rho_S)]."""
    return (
        resin_density * (density - solvent_density) / (density * (resin_density - solvent_density))
    )


def volume_fraction(mass_fraction: Value, resin_density: float, solvent_density: float) -> Value:
    """Resin volume fraction: phi = (w/rho_R) / (w/rho_R + (1-w)/rho_S)."""
    resin = mass_fraction / resin_density
    return resin / (resin + (1 - mass_fraction) / solvent_density)


def mass_fraction(volume_fraction: Value, resin_density: float, solvent_density: float) -> Value:
    """Resin mass fraction: w = phi rho_R / (phi rho_R + (1-phi) rho_S)."""
    resin = volume_fraction * resin_density
    return resin / (resin + (1 - volume_fraction) * solvent_density)


def concentration(mass_fraction: Value, resin_density: float, solvent_density: float) -> Value:
    """Mass of resin in a volume of bath, c = w rho, in the unit of the densities."""
    return mass_fraction * bath_density(mass_fraction, resin_density, solvent_density)


def from_mass_percent(
    value: Value, basis: Basis, resin_density_g_ml: float, solvent_density_g_ml: float
) -> Value:
    """A saturation in mass percent in another basis.

    Raises:
        DomainError: there is no such basis.

    >>> round(from_mass_percent(10.0, "volume_percent", 1.12, 0.78830), 3)
    7.253
    """
    densities = (resin_density_g_ml, solvent_density_g_ml)
    if basis == "mass_percent":
        return value
    if basis == "volume_percent":
        return 100 * volume_fraction(value / 100, *densities)
    if basis == "g_per_l":
        return G_PER_L * concentration(value / 100, *densities)
    raise DomainError(_unknown(basis))


def to_mass_percent(
    value: Value, basis: Basis, resin_density_g_ml: float, solvent_density_g_ml: float
) -> Value:
    """A saturation of any basis in mass percent.

    Raises:
        DomainError: there is no such basis.

    >>> round(to_mass_percent(10.0, "volume_percent", 1.12, 0.78830), 3)
    13.634
    """
    densities = (resin_density_g_ml, solvent_density_g_ml)
    if basis == "mass_percent":
        return value
    if basis == "volume_percent":
        return 100 * mass_fraction(value / 100, *densities)
    if basis == "g_per_l":
        return 100 * mass_fraction(value / (G_PER_L * resin_density_g_ml), *densities)
    raise DomainError(_unknown(basis))


def _unknown(basis: str) -> str:
    return f"There is no basis “{basis}”. Known: {', '.join(BASES)}."
