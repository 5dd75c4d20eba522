"""Saturation in the three bases in which it is given."""

from pydantic import BaseModel

from app.domain.baths.conventions import from_mass_percent


class Saturation(BaseModel):
    """Resin in the bath liquid, in each basis."""

    mass_percent: float
    volume_percent: float
    g_per_l: float


def saturation(
    mass_percent: float, resin_density_g_ml: float, solvent_density_g_ml: float
) -> Saturation:
    """A saturation in mass percent, exactly converted with the densities of what is in the bath."""
    densities = (resin_density_g_ml, solvent_density_g_ml)
    return Saturation(
        mass_percent=mass_percent,
        volume_percent=from_mass_percent(mass_percent, "volume_percent", *densities),
        g_per_l=from_mass_percent(mass_percent, "g_per_l", *densities),
    )
