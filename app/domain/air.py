"""Vapour in the air of a room: how fast it comes, how high it stands. For planning alone.

Everything here is an estimate of the mixed air of the room, never a measurement and never a
clearance: the air at the liquid is another matter (`headspace_percent`), and published models of
evaporation differ by a factor of two.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from app.domain.errors import DomainError

GAS_J_MOL_K = 8.314462618  # CODATA 2018, exact
ZERO_C_K = 273.15
MOLAR_L = 24.45  # of a gas at 25 C and 101.325 kPa, as exposure limits are converted
MOLAR_MASS_WATER_G_MOL = 18.015
ATMOSPHERE_PA = 101_325.0
POOL_DEPTH_M = 0.001
"""Of a spill on a smooth floor; common practice, no source. EPA 550-B-99-009 takes 1 cm (from
memory), which would have it evaporate ten times slower: a caution errs to the other side."""
VAPOUR_SOURCE = (
    "thermo 0.6.1: 2-propanol after Wagner and McGarry, ethanol and acetone from their reference "
    "equations of state; propylene carbonate a rough estimate (Ambrose and Walton); dipropylene "
    "glycol methyl ether 37 Pa at 20 °C (Danish Environmental Protection Agency 2003, second "
    "hand), straight in 1/T to its boiling point, 190 °C"
)


@dataclass(frozen=True)
class Limit:
    """An exposure limit with where it comes from and how that was read.

    Attributes:
        is_danger: immediately dangerous: a level to leave at, never one to hold.
    """

    name: str
    ppm: float
    source: str
    is_danger: bool = False


@dataclass(frozen=True)
class Vapour:
    """What is known of a solvent's vapour.

    Attributes:
        pressure_pa: vapour pressure by temperature in C, ascending.
        lower_percent, upper_percent: flammable between these, volume percent in air; None where
            the reference carries none.
        limits: exposure limits; the site's own authority decides which counts.
        has_skin_notation: it goes through the skin as well.
    """

    molar_mass_g_mol: float
    pressure_pa: tuple[tuple[float, float], ...]
    lower_percent: float | None = None
    upper_percent: float | None = None
    limits_source: str = ""
    limits: tuple[Limit, ...] = ()
    has_skin_notation: bool = False

    @property
    def leave_at(self) -> Limit | None:
        """The level at which everybody leaves; None where none is carried."""
        return next((limit for limit in self.limits if limit.is_danger), None)

    @property
    def held(self) -> tuple[Limit, ...]:
        """The limits that air is held under."""
        return tuple(limit for limit in self.limits if not limit.is_danger)

    def pressure(self, temperature_c: float) -> float:
        """Vapour pressure in Pa, by ln p straight in 1/T between the rows (Clausius-Clapeyron).

        Raises:
            DomainError: outside the rows.
        """
        rows = self.pressure_pa
        if not rows[0][0] <= temperature_c <= rows[-1][0]:
            raise DomainError(f"The temperature lies outside {rows[0][0]:g} to {rows[-1][0]:g} C.")
        above = next(i for i, row in enumerate(rows) if temperature_c <= row[0])
        (low_c, low_pa), (high_c, high_pa) = rows[max(above, 1) - 1 : max(above, 1) + 1]
        low, here, high = (1 / (ZERO_C_K + c) for c in (low_c, temperature_c, high_c))
        share = (here - low) / (high - low)
        return math.exp(math.log(low_pa) + share * (math.log(high_pa) - math.log(low_pa)))


_NIOSH = "NIOSH Pocket Guide 0359; text read"
_NIOSH_ANY = "NIOSH Pocket Guide; second hand"
_OSHA_ANY = "29 CFR 1910.1000, table Z-1; second hand"
LIMITS_AS_OF, LIMITS_REVIEW_ON = date(2026, 11, 29), date(2027, 11, 29)
"""When the limits were looked up, and when somebody should look again."""
_ONTARIO = "Ontario limits, as carried by chemicals 1.5.2"
_IEC = "IEC 60079-20-1 (2010), as carried by chemicals 1.5.2"

VAPOURS: Mapping[str, Vapour] = {
    "isopropanol": Vapour(
        60.095,
        ((-10, 462.2), (0, 1027.4), (5, 1494.5), (10, 2140.8), (15, 3022.1), (20, 4207.2),
         (25, 5779.9), (30, 7840.7), (40, 13924.6), (50, 23668.1), (60, 38655.3)),
        2.0, 12.7, _NIOSH,
        (Limit("8 hours", 200, _ONTARIO), Limit("8 hours", 400, _NIOSH),
         Limit("15 minutes", 500, _NIOSH),
         Limit("danger to life", 2000, _NIOSH, is_danger=True)),
    ),
    "ethanol": Vapour(
        46.068,
        ((-10, 768.9), (0, 1601.8), (5, 2261.2), (10, 3148.6), (15, 4327.7), (20, 5875.7),
         (25, 7885.4), (30, 10466.6), (40, 17880.3), (50, 29408.5), (60, 46734.1)),
        3.1, 19.0, _IEC,
        (Limit("8 hours", 1000, _OSHA_ANY), Limit("15 minutes", 1000, _ONTARIO),
         Limit("danger to life", 3300, _NIOSH_ANY, is_danger=True)),
    ),
    "acetone": Vapour(
        58.079,
        ((-10, 5345.0), (0, 9299.1), (5, 12052.6), (10, 15454.1), (15, 19615.8), (20, 24661.6),
         (25, 30727.1), (30, 37960.4), (40, 56581.5), (50, 81947.2), (60, 115666.2)),
        2.5, 14.3, _IEC,
        (Limit("8 hours", 250, _NIOSH_ANY), Limit("8 hours", 500, _ONTARIO),
         Limit("8 hours", 1000, _OSHA_ANY), Limit("15 minutes", 750, _ONTARIO),
         Limit("danger to life", 2500, _NIOSH_ANY, is_danger=True)),
    ),
    "dipropylene_glycol_methyl_ether": Vapour(
        148.200,
        ((-10, 3.2), (0, 7.6), (5, 11.6), (10, 17.3), (15, 25.5), (20, 37.0),
         (25, 53.1), (30, 75.4), (40, 146.7), (50, 273.9), (60, 492.8)),
        1.1, 10.9, _IEC,
        (Limit("8 hours", 100, _NIOSH_ANY), Limit("15 minutes", 150, _NIOSH_ANY),
         Limit("danger to life", 600, _NIOSH_ANY, is_danger=True)),
        has_skin_notation=True,
    ),
    "propylene_carbonate": Vapour(
        102.089,
        ((-10, 0.2), (0, 0.7), (5, 1.1), (10, 1.7), (15, 2.6), (20, 4.1), (25, 6.2), (30, 9.2),
         (40, 19.8), (50, 40.5), (60, 79.6)),
    ),
}  # fmt: skip
"""Solvents whose vapour is known; of the others hardly any evaporates, or it is water."""


def evaporation_kg_s(vapour: Vapour, area_m2: float, air_m_s: float, temperature_c: float) -> float:
    """How fast an open surface evaporates, kg/s.

    G = k M P A / (R T), k = 0.0067 (18.015/M)^(1/3) U^0.78 m/s. Source: the pool equation of EPA
    550-B-99-009 (offsite consequence analysis) in SI; its coefficients from memory. Rim, lid,
    cooling and what is dissolved lower it; at low air speed models tend to read low
    (Ann. occup. Hyg. 41 (1997) 625, abstract).
    """
    mass = vapour.molar_mass_g_mol
    k_m_s: float = 0.0067 * (MOLAR_MASS_WATER_G_MOL / mass) ** (1 / 3) * air_m_s**0.78
    pressure_pa = vapour.pressure(temperature_c)
    kelvin = ZERO_C_K + temperature_c
    return k_m_s * mass / 1000 * pressure_pa * area_m2 / (GAS_J_MOL_K * kelvin)


def ppm(mg_m3: float, molar_mass_g_mol: float) -> float:
    """Parts per million by volume of a vapour at 25 C and 101.325 kPa: mg/m3 x 24.45 / M."""
    return mg_m3 * MOLAR_L / molar_mass_g_mol


def mg_m3(parts_per_million: float, molar_mass_g_mol: float) -> float:
    """The inverse of `ppm`."""
    return parts_per_million * molar_mass_g_mol / MOLAR_L


def headspace_percent(vapour: Vapour, temperature_c: float) -> float:
    """Vapour in the air right over the liquid, volume percent: its pressure over the atmosphere's.

    For 2-propanol this lies within the flammable range at any usual room temperature, whatever the
    air of the room holds.
    """
    return 100 * vapour.pressure(temperature_c) / ATMOSPHERE_PA


@dataclass(frozen=True)
class Room:
    """The air of a room.

    Attributes:
        mixing: 1 where the air is well mixed, up to 10 where it stands; the exchange is divided by
            it (from memory).
    """

    volume_m3: float
    changes_per_hour: float
    mixing: float = 1.0

    @property
    def exchange_m3_s(self) -> float:
        """Air that carries vapour out."""
        return self.volume_m3 * self.changes_per_hour / 3600 / self.mixing


def concentration_mg_m3(rate_kg_s: float, room: Room, seconds: float) -> float:
    """Concentration in the mixed air so long after an even source began, from clean air.

    C(t) = G/Q (1 - exp(-Q t/V)); without exchange of air G t/V. Source: the usual box model of
    industrial hygiene, one well-mixed room.
    """
    rate_mg_s, air = rate_kg_s * 1e6, room.exchange_m3_s
    if air <= 0:
        return rate_mg_s * seconds / room.volume_m3
    return rate_mg_s / air * -math.expm1(-air * seconds / room.volume_m3)


def spill_mg_m3(rate_kg_s: float, mass_kg: float, room: Room, seconds: float) -> float:
    """As `concentration_mg_m3` for a spill that is gone once all of it has evaporated."""
    if rate_kg_s <= 0:
        return 0.0
    lasts_s = mass_kg / rate_kg_s
    if seconds <= lasts_s:
        return concentration_mg_m3(rate_kg_s, room, seconds)
    peak = concentration_mg_m3(rate_kg_s, room, lasts_s)
    return peak * math.exp(-room.exchange_m3_s * (seconds - lasts_s) / room.volume_m3)


def all_evaporated_ppm(mass_kg: float, molar_mass_g_mol: float, volume_m3: float) -> float:
    """What the room would hold if a mass evaporated all at once and nothing was carried out."""
    return ppm(mass_kg * 1e6 / volume_m3, molar_mass_g_mol)


def air_needed_m3_h(
    rate_kg_s: float, parts_per_million: float, molar_mass_g_mol: float, mixing: float = 1.0
) -> float:
    """Exchange of air that keeps a steady source at a concentration; `mixing` as in `Room`."""
    return mixing * rate_kg_s * 1e6 * 3600 / mg_m3(parts_per_million, molar_mass_g_mol)
