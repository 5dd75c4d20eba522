"""How far a little of a quick solvent brings the flash point of a slow one down: a caution."""

import math
from collections.abc import Mapping

from app.domain.air import ATMOSPHERE_PA, VAPOURS
from app.domain.solvents import SOLVENTS, Solvent
from app.domain.solvents.vapour import ZERO_C_K, Vapour

COLDEST_C, HOTTEST_C = -40.0, 150.0
STEPS = 60
IN_WATER: Mapping[str, tuple[float, float]] = {
    "ethanol": (1.6798, 0.9227), "isopropanol": (2.3405, 1.1551),
}  # fmt: skip
"""Van Laar's constants of an alcohol with water, both from memory (Perry's handbook). Water drives
alcohol out: a little of it evaporates several times as fast as by Raoult's law."""

HANSEN: Mapping[str, tuple[float, float, float, float]] = {
    "propylene_carbonate": (20.0, 18.0, 4.1, 85.0), "isopropanol": (15.8, 6.1, 16.4, 76.8),
    "ethanol": (15.8, 8.8, 19.4, 58.5), "acetone": (15.5, 10.4, 7.0, 74.0),
}  # fmt: skip
"""Hansen's solubility parameters in MPa^0.5 (dispersion, polar, hydrogen bonds) and the molar
volume in mL (Hansen Solubility Parameters, 2007; from memory)."""
HANSEN_SHARE = 0.6
"""Of the squared distance of two liquids in chi (Lindvig, Michelsen and Kontogeorgis, 2002; from
memory)."""
GAS_J_MOL_K, ROOM_K = 8.314, 298.15
OF_ANOTHER = 10.0
"""Taken for a slow solvent of the site's own, of which only a data sheet is known: alcohol in
hydrocarbons comes to 10 and more (from memory), so that the flash point errs low."""
HEAVY_G_MOL = 300.0
"""Taken for a slow solvent whose sheet gives no molar mass: heavier than washes are (common
practice, no source). The fewer moles of it there are, the lower the flash point comes out."""


def mixed_flash_c(slow: str, quick: str, quick_mass_percent: float) -> float | None:
    """The flash point of a slow solvent, or water, with so much of a quick one in it, in C.

    None if unknown.

    By Raoult's law, the slow solvent's own vapour left out: the temperature at which
    x p(T) = L p0, with x the mole fraction of the quick solvent, p its vapour pressure, L its lower
    flammability limit as a share of volume and p0 one atmosphere. Alcohol in a glycol ether departs
    little from Raoult, and no measured value of these mixtures was found: a flash test decides.
    Beyond the rows of its table ln p goes on straight in 1/T. Never above that of the slow solvent.

    Propylene carbonate drives a quick solvent out: there x is multiplied by the activity
    coefficient of Margules, ln g = ln g0 (1 - x)^2, with g0 of `departure`. In water, and in what
    has no flash point and is water by its sheet, by that of van Laar,
    ln g = A / (1 + A x / (B (1 - x)))^2. It errs low: measured closed-cup flash points of ethanol
    and water lie 4 to 11 C above.
    """
    one, other, vapour = SOLVENTS[slow], SOLVENTS[quick], VAPOURS.get(quick)
    has_none = one.flash_point_c is None and not one.is_flash_unknown
    is_in_water = has_none and quick in IN_WATER and one.is_watery
    base = SOLVENTS["water_based"] if is_in_water else one
    if vapour is None or vapour.lower_percent is None:
        return None
    if one.is_flash_unknown or (has_none and one.is_watery and not is_in_water):
        return None
    if quick_mass_percent <= 0:
        return one.flash_point_c
    share = quick_mass_percent / 100
    moles = share / other.density.molar_mass_g_mol
    fraction = moles / (moles + (1 - share) / _molar_mass_g_mol(base))
    if is_in_water:
        fraction *= _activity(quick, fraction)
    else:
        fraction *= departure(slow, quick) ** (1 - fraction) ** 2
    wanted_pa = vapour.lower_percent / 100 * ATMOSPHERE_PA / fraction
    low, high = COLDEST_C, HOTTEST_C
    for _ in range(STEPS):
        middle = (low + high) / 2
        low, high = (middle, high) if _pressure_pa(vapour, middle) < wanted_pa else (low, middle)
    return high if one.flash_point_c is None else min(high, one.flash_point_c)


def departure(slow: str, quick: str) -> float:
    """How many times as fast as by Raoult's law a trace of a quick solvent leaves a slow one.

    Of propylene carbonate by Flory and Huggins with chi from Hansen's parameters, V in mL:
    ln g = ln(V1/V2) + 1 - V1/V2 + chi, chi = 0.6 V1 d^2 / (4 R T), d^2 = 4 dD^2 + dP^2 + dH^2. An
    estimate, no measurement. Glycol ethers are taken as Raoult has it.

    >>> round(departure("propylene_carbonate", "isopropanol"), 1)
    5.4
    """
    if SOLVENTS[slow].is_own:
        return OF_ANOTHER
    if slow != "propylene_carbonate":
        return 1.0
    if quick not in HANSEN:
        return OF_ANOTHER
    *one, volume_ml = HANSEN[quick]
    *other, slow_ml = HANSEN[slow]
    spread = [(mine - theirs) ** 2 for mine, theirs in zip(one, other, strict=True)]
    chi = HANSEN_SHARE * volume_ml * (4 * spread[0] + spread[1] + spread[2])
    chi /= 4 * GAS_J_MOL_K * ROOM_K
    share = volume_ml / slow_ml
    return math.exp(math.log(share) + 1 - share + chi)


def _molar_mass_g_mol(solvent: Solvent) -> float:
    """As known, else so heavy that the flash point errs low."""
    mass = solvent.density.molar_mass_g_mol
    return HEAVY_G_MOL if math.isnan(mass) else mass


def _activity(alcohol: str, fraction: float) -> float:
    """The activity coefficient of an alcohol in water by van Laar's equation."""
    first, second = IN_WATER[alcohol]
    if fraction >= 1:
        return 1.0
    return math.exp(first / (1 + first * fraction / (second * (1 - fraction))) ** 2)


def _pressure_pa(vapour: Vapour, temperature_c: float) -> float:
    """Vapour pressure, past the ends of the table by its last rows."""
    rows = vapour.pressure_pa
    if rows[0][0] <= temperature_c <= rows[-1][0]:
        return vapour.pressure(temperature_c)
    (low_c, low_pa), (high_c, high_pa) = rows[-2:] if temperature_c > rows[-1][0] else rows[:2]
    low, here, high = (1 / (ZERO_C_K + celsius) for celsius in (low_c, temperature_c, high_c))
    share = (here - low) / (high - low)
    return math.exp(math.log(low_pa) + share * (math.log(high_pa) - math.log(low_pa)))
