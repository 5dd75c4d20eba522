"""Vapour in the air of a room: how fast it comes, how high it stands. For planning alone.

Everything here is an estimate of the mixed air of the room, never a measurement and never a
clearance: the air at the liquid is another matter (`headspace_percent`), and published models of
evaporation differ by a factor of two.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.solvents import SOLVENTS
from app.domain.solvents.own import WithOwn, own_solvent
from app.domain.solvents.vapour import ZERO_C_K, Vapour

GAS_J_MOL_K = 8.314462618  # CODATA 2018, exact
MOLAR_L = 24.45  # of a gas at 25 C and 101.325 kPa, as exposure limits are converted
MOLAR_MASS_WATER_G_MOL = 18.015
ATMOSPHERE_PA = 101_325.0
POOL_DEPTH_M = 0.001
"""Of a spill on a smooth floor; common practice, no source. EPA 550-B-99-009 takes 1 cm (from
memory), which would have it evaporate ten times slower: a caution errs to the other side."""
NEAR_M = 0.5  # from a source to a head bent over it; common practice, no source
FILM_M = 1e-4  # of solvent on wet parts, 0.01 mL/cm2, where the estimate begins as well
VAPOUR_SOURCE = (
    "thermo 0.6.1: 2-propanol after Wagner and McGarry, ethanol and acetone from their reference "
    "equations of state; propylene carbonate a rough estimate (Ambrose and Walton); dipropylene "
    "glycol methyl ether 37 Pa at 20 °C (Danish Environmental Protection Agency 2003, appendix "
    "14), straight in 1/T to its boiling point, 190 °C"
)


class _Vapours(WithOwn[Vapour]):
    """Vapour by solvent, own ones by their key."""

    def of_own(self, key: str) -> Vapour | None:
        found = own_solvent(key)
        return None if found is None else found.vapour


VAPOURS: Mapping[str, Vapour] = _Vapours(
    {key: item.vapour for key, item in SOLVENTS.items() if item.vapour is not None}
)
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


def near_field_m3_s(air_m_s: float, area_m2: float) -> float:
    """Air that passes through the half ball over a source in which a head is bent over it, m3/s.

    beta = 1/2 S A, with A = 2 pi r2 the open surface of the half ball and S the speed of the air in
    the room. Source: the two-zone model (Nicas, Am. Ind. Hyg. Assoc. J. 57 (1996) 542; from
    memory). r is `NEAR_M`, or that of a larger source.
    """
    radius_m = max(NEAR_M, math.sqrt(area_m2 / math.pi))
    return math.pi * radius_m**2 * air_m_s


def near_mg_m3(room_mg_m3: float, rate_kg_s: float, beta_m3_s: float) -> float:
    """At the head over a source that still gives vapour: the room's figure and G/beta."""
    return room_mg_m3 + rate_kg_s * 1e6 / beta_m3_s


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
