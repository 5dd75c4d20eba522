"""Volume and mass of what is poured, and how full a drum may be."""

from app.domain.roomlog.kinds.waste import Pour
from app.domain.solvents import SOLVENTS
from app.domain.waste.streams import STREAMS

LITRES_PER_US_GALLON = 3.785411784  # exact: 231 cubic inches (NIST Handbook 44, appendix C)
LIQUID_KG_PER_L = (0.6, 1.7)  # no wash, resin or mixture of them lies outside
SOLID_KG_PER_L = {
    "solids_and_sludge": (0.9, 2.5),
    "still_bottoms": (0.9, 1.5),
    "wipes": (0.02, 0.7),
}
"""Bulk densities of what does not pour; a solvent is 0.75 to 1.0. Common practice, no source."""


def weighed_kg(pour: Pour) -> float | None:
    """What the scale says was poured; None where it was not used."""
    if pour.mass_before_kg is None or pour.mass_after_kg is None:
        return None
    return pour.mass_after_kg - pour.mass_before_kg


def poured_kg(pour: Pour, stream: str) -> float:
    """Mass of a pour: by the scale, else from its volume and its share of resin."""
    by_scale = weighed_kg(pour)
    if by_scale is not None:
        return by_scale
    return mass_kg(pour.volume_l, pour.stream or stream, pour.resin_percent)


def mass_kg(volume_l: float, stream: str, resin_percent: float | None = None) -> float:
    """Mass of a volume of a stream at 20 C; `resin_percent` by mass.

    >>> round(mass_kg(0.9 * 55 * LITRES_PER_US_GALLON, "isopropanol_resin"), 0)
    154.0
    """
    return volume_l * STREAMS[stream].density_g_ml(resin_percent)


def volume_by_mass_l(mass: float, stream: str, resin_percent: float | None = None) -> float:
    """Volume of a mass in kg of a stream at 20 C."""
    return mass / STREAMS[stream].density_g_ml(resin_percent)


def volume_by_dip_l(
    before_cm: float, after_cm: float, capacity_l: float, inner_height_cm: float
) -> float:
    """Volume between two dips of an upright straight-walled drum.

    V = capacity * (after - before) / inner height, exact for a cylinder; beads and a domed bottom
    make it a few per cent wrong.
    """
    return capacity_l * (after_cm - before_cm) / inner_height_cm


def density_is_odd(volume_l: float, kg: float, stream: str) -> bool:
    """Whether a weighed pour cannot have that volume: pounds for kilograms, a figure misread."""
    low, high = LIQUID_KG_PER_L if STREAMS[stream].is_liquid else SOLID_KG_PER_L[stream]
    return not low <= kg / volume_l <= high


def highest_fill_percent(
    stream: str, filled_at_c: float, full_at_c: float, full_percent: float = 100.0
) -> float | None:
    """How full a drum may be at the temperature of filling to be `full_percent` full when warm.

    full_percent * rho(warm) / rho(cold), by the solvent's own density without resin, which expands
    more than any mixture with resin. None for a stream whose solvent is not in the table.
    Source of the temperature: the rule set (49 CFR 173.24a(d): not liquid-full at 55 C).
    """
    solvents = STREAMS[stream].solvents
    if not solvents:
        return None
    solvent = SOLVENTS[solvents[0]]
    warm, cold = (
        solvent.density_g_ml(at_c, solvent.usual_purity_percent)
        for at_c in (full_at_c, filled_at_c)
    )
    return min(full_percent, full_percent * warm / cold)
