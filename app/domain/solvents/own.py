"""A solvent that the table does not have, from the figures of its data sheet.

Its key carries those figures, so that a line of the log means the same wherever it is read, and a
bath keeps the sheet by which it was filled when the supplier sends another one:
`own:Heptane:0.684:20:-4:98.4:48:400:100.2:250301` is heptane of 0.684 g/mL at 20 C, flash point
-4 C, boiling at 98.4 C, 48 hPa at 20 C, 400 ppm, 100.2 g/mol, sheet of 1 March 2025. What a sheet
does not say is left empty and blocks only what needs it (`missing`).
"""

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import TypeVar

from app.domain.solvents.density import REFERENCE_C, DensityModel
from app.domain.solvents.model import Solvent, Source
from app.domain.solvents.vapour import ZERO_C_K, Limit, Paper, Vapour
from app.domain.solvents.waste import (
    FLAMMABLE,
    FLASH_UNKNOWN,
    HIGH_FLASH,
    IGNITABLE,
    NO_D001,
    NOT_TO_DRAIN,
    SKIN,
    UNTESTED,
    WATER,
    SpentBath,
)

PREFIX, NO_FLASH, PARTS, LONGEST_KEY = "own", "none", 10, 64
EXPANSION_PER_K = 1.15e-3  # of organic liquids by volume, 1.0 to 1.3e-3; from memory
DENSITY_SD_G_ML = 0.003  # two digits of a data sheet and the expansion; common practice
TROUTON_J_MOL_K = 88.0
"""Entropy of vaporisation at the boiling point (Trouton's rule, from memory); of alcohols it is
about 110, so that their vapour pressure is taken too high."""
GAS_J_MOL_K, ATMOSPHERE_PA, PA_PER_HPA = 8.314462618, 101_325.0, 100.0
LOWER_LIMIT_SHARE = 0.8
"""Lower flammable limit over the saturated vapour at the flash point: 0.82 to 0.92 for the solvents
of the table, which IEC 60079-20-1 gives both for."""
ROWS_C = (-10, 0, 5, 10, 15, 20, 25, 30, 40, 50, 60)
QUICK_BELOW_C = 100.0
WATER_G_ML, WATER_BOILS_C, WATER_G_MOL = (0.95, 1.15), (90.0, 110.0), 20.0
"""Density, boiling point and greatest molar mass of a cleaner that is mostly water; common
practice, no source."""
BOUNDS: Mapping[str, tuple[float, float]] = {
    "density_g_ml": (0.5, 2.5), "density_at_c": (-20, 60), "flash_point_c": (-60, 300),
    "boiling_point_c": (20, 400), "vapour_pressure_hpa": (0.0001, 1000),
    "limit_ppm": (0.01, 10_000), "molar_mass_g_mol": (10, 1000),
}  # fmt: skip
T = TypeVar("T")
_ESCAPED = re.compile(r"\.([0-9a-f]+)\.")


@dataclass(frozen=True)
class Sheet:
    """The figures of a data sheet; None where it does not give one.

    Attributes:
        flash_point_c: closed cup; `has_no_flash` where the sheet says that there is none.
        vapour_pressure_hpa: at 20 C.
        limit_ppm: exposure limit over 8 hours.
        sheet_on: date of the sheet.
    """

    name: str
    density_g_ml: float
    density_at_c: float = REFERENCE_C
    flash_point_c: float | None = None
    has_no_flash: bool = False
    boiling_point_c: float | None = None
    vapour_pressure_hpa: float | None = None
    limit_ppm: float | None = None
    molar_mass_g_mol: float | None = None
    sheet_on: date | None = None


def key_of(sheet: Sheet) -> str:
    """The key of a sheet; longer than 64 characters where its name is too long for one."""
    flash = NO_FLASH if sheet.has_no_flash else _figure(sheet.flash_point_c)
    figures = (
        _figure(sheet.density_g_ml), _figure(sheet.density_at_c), flash,
        _figure(sheet.boiling_point_c), _figure(sheet.vapour_pressure_hpa),
        _figure(sheet.limit_ppm), _figure(sheet.molar_mass_g_mol),
        f"{sheet.sheet_on:%y%m%d}" if sheet.sheet_on else "",
    )  # fmt: skip
    return ":".join((PREFIX, _escaped(sheet.name.strip()), *figures))


@lru_cache(maxsize=512)
def sheet_of(key: str) -> Sheet | None:
    """The sheet that a key carries; None where it is no key of an own solvent.

    >>> sheet_of("own:Heptane:0.684:20:-4:98.4:48:400:100.2:250301").boiling_point_c
    98.4
    """
    parts = key.split(":")
    if len(parts) != PARTS or parts[0] != PREFIX or len(key) > LONGEST_KEY or not parts[1]:
        return None
    texts = dict(zip(BOUNDS, parts[2:9], strict=True))
    has_no_flash = texts["flash_point_c"] == NO_FLASH
    if has_no_flash:
        texts["flash_point_c"] = ""
    try:
        figures = {name: float(text) if text else None for name, text in texts.items()}
        sheet_on = _day(parts[9])
        name = _ESCAPED.sub(lambda found: chr(int(found[1], 16)), parts[1].replace("_", " "))
    except (ValueError, OverflowError):
        return None
    if not name.isprintable() or not all(_is_within(n, f) for n, f in figures.items()):
        return None
    density, at_c = figures.pop("density_g_ml"), figures.pop("density_at_c")
    if density is None or at_c is None:
        return None
    return Sheet(name, density, at_c, has_no_flash=has_no_flash, sheet_on=sheet_on, **figures)


@lru_cache(maxsize=512)
def own_solvent(key: str) -> Solvent | None:
    """The solvent of such a key; None where it is none."""
    sheet = sheet_of(key)
    if sheet is None:
        return None
    at_20c = sheet.density_g_ml / (1 - EXPANSION_PER_K * (sheet.density_at_c - REFERENCE_C))
    source = Source("data sheet of the supplier", _of_day(sheet), "data sheet")
    names, watery = ("density", "boiling_point_c", "flash_point_c", "vapour"), is_watery(sheet)
    return Solvent(
        key=key,
        name=sheet.name,
        density=DensityModel(
            density_20c_g_ml=at_20c, expansion=(-EXPANSION_PER_K * at_20c, 0.0, 0.0),
            sd_g_ml=DENSITY_SD_G_ML, molar_mass_g_mol=sheet.molar_mass_g_mol or math.nan,
        ),
        boiling_point_c=_boiling_c(sheet),
        flash_point_c=sheet.flash_point_c,
        is_flash_unknown=sheet.flash_point_c is None and not sheet.has_no_flash,
        index_20c=(),
        usual_purity_percent=100.0,
        usual_limit_volume_percent=None,
        is_hygroscopic=not watery,
        fresh_varies=watery,
        is_watery=watery,
        is_own=True,
        drying_minutes=30.0 if _boiling_c(sheet) <= QUICK_BELOW_C else 60.0,
        sources=dict.fromkeys(names, source),
        waste=_spent(key, sheet),
        vapour=_vapour(sheet),
    )  # fmt: skip


def same_own(one: str, other: str) -> bool:
    """Both are one own solvent, perhaps by another date of its sheet."""
    first, second = sheet_of(one), sheet_of(other)
    return first is not None and second is not None and first.name == second.name


def is_watery(sheet: Sheet) -> bool:
    """Whether it is a water-based cleaner: it has no flash point, and nothing on its sheet says
    that it is no water.

    What such a cleaner shows when it is fresh depends on how strong it was mixed, and what it
    leaves in a dish is no resin.
    """
    boils_c, mass = _boiling_c(sheet), sheet.molar_mass_g_mol
    light, heavy = WATER_G_ML
    low_c, high_c = WATER_BOILS_C
    return (
        sheet.has_no_flash
        and light <= sheet.density_g_ml <= heavy
        and (mass is None or mass <= WATER_G_MOL)
        and (math.isnan(boils_c) or low_c <= boils_c <= high_c)
    )


def missing(sheet: Sheet) -> list[str]:
    """What the sheet does not say, each with what it blocks and nothing else."""
    found = []
    if sheet.flash_point_c is None and not sheet.has_no_flash:
        found.append(
            "No flash point. Until you enter one, it counts as a category 2 flammable liquid and "
            "its waste as ignitable."
        )
    if is_watery(sheet):
        found.append(
            "Taken as a water-based cleaner. A hydrometer and a residue test cannot tell resin in "
            "it. Read each fill with a refractometer while it is fresh."
        )
    elif math.isnan(_boiling_c(sheet)):
        found.append(
            "No boiling point and no vapour pressure. Residue tests and vapour estimates are not "
            "available."
        )
    elif sheet.molar_mass_g_mol is None:
        found.append("No molar mass. Vapour estimates are not available.")
    if sheet.limit_ppm is None:
        found.append("No exposure limit. Vapour is not compared with one.")
    if sheet.sheet_on is None:
        found.append("No date on the data sheet. Nobody can tell if it is still the latest.")
    return found


class WithOwn(Mapping[str, T]):
    """What is known by solvent: of the table, and of any own solvent by its key.

    It goes through those of the table alone.
    """

    def __init__(self, table: Mapping[str, T]) -> None:
        self.table = table

    def of_own(self, key: str) -> T | None:
        """What there is of an own solvent; None where there is nothing."""
        raise NotImplementedError

    def __getitem__(self, key: str) -> T:
        found = self.table.get(key)
        if found is None and key.startswith(f"{PREFIX}:"):
            found = self.of_own(key)
        if found is None:
            raise KeyError(key)
        return found

    def __iter__(self) -> Iterator[str]:
        return iter(self.table)

    def __len__(self) -> int:
        return len(self.table)


def _figure(value: float | None) -> str:
    return "" if value is None else f"{value:.5g}"


def _escaped(name: str) -> str:
    plain = [c if (c.isascii() and c.isalnum()) or c == "-" else f".{ord(c):x}." for c in name]
    return "".join("_" if c == ".20." else c for c in plain)


def _day(text: str) -> date | None:
    if not text:
        return None
    if len(text) != len("yymmdd") or not text.isdigit():
        raise ValueError(text)
    return date(2000 + int(text[:2]), int(text[2:4]), int(text[4:]))


def _is_within(name: str, figure: float | None) -> bool:
    low, high = BOUNDS[name]
    return figure is None or low <= figure <= high


def _of_day(sheet: Sheet) -> str:
    return f"of {sheet.sheet_on.isoformat()}" if sheet.sheet_on else "without a date"


def _boiling_c(sheet: Sheet) -> float:
    """As the sheet says, else from its vapour pressure; not a number where it says neither.

    Tb = T (1 - R/S ln(p/p0)), S by Trouton's rule.
    """
    if sheet.boiling_point_c is not None:
        return sheet.boiling_point_c
    if sheet.vapour_pressure_hpa is None:
        return math.nan
    ratio = sheet.vapour_pressure_hpa * PA_PER_HPA / ATMOSPHERE_PA
    per_share = GAS_J_MOL_K / TROUTON_J_MOL_K
    return (REFERENCE_C + ZERO_C_K) * (1 - per_share * math.log(ratio)) - ZERO_C_K


def pressure_pa(sheet: Sheet, temperature_c: float) -> float:
    """Vapour pressure: ln p straight in 1/T (Clausius-Clapeyron).

    Through the pressure at 20 C and the boiling point where the sheet gives both, else through the
    one of them with the slope of Trouton's rule. Not a number without either.
    """
    boiling_k, at_k = _boiling_c(sheet) + ZERO_C_K, temperature_c + ZERO_C_K
    slope = TROUTON_J_MOL_K / GAS_J_MOL_K * boiling_k
    if sheet.boiling_point_c is not None and sheet.vapour_pressure_hpa is not None:
        steps = 1 / (REFERENCE_C + ZERO_C_K) - 1 / boiling_k
        slope = math.log(ATMOSPHERE_PA / (sheet.vapour_pressure_hpa * PA_PER_HPA)) / steps
    return ATMOSPHERE_PA * math.exp(slope * (1 / boiling_k - 1 / at_k))


def _vapour(sheet: Sheet) -> Vapour | None:
    if math.isnan(_boiling_c(sheet)) or sheet.molar_mass_g_mol is None:
        return None
    lower = None
    if sheet.flash_point_c is not None and sheet.vapour_pressure_hpa is not None:
        at_flash = pressure_pa(sheet, sheet.flash_point_c) / ATMOSPHERE_PA
        lower = 100 * LOWER_LIMIT_SHARE * at_flash
    source = f"data sheet {_of_day(sheet)}"
    dated = "" if sheet.sheet_on else ", without a date"
    paper = Paper(f"its data sheet{dated}", "data sheet")
    held = (
        ()
        if sheet.limit_ppm is None
        else (Limit("8 hours", sheet.limit_ppm, paper, as_of=sheet.sheet_on),)
    )
    rows = tuple((celsius, pressure_pa(sheet, celsius)) for celsius in ROWS_C)
    return Vapour(sheet.molar_mass_g_mol, rows, lower, None, source, held)


def _spent(key: str, sheet: Sheet) -> SpentBath:
    """The waste that its bath is: a stream of its own, as nobody has said what it goes with."""
    hazards: tuple[str, ...] = (SKIN, WATER)
    status = HIGH_FLASH
    if sheet.flash_point_c is None and not sheet.has_no_flash:
        hazards, status = (FLASH_UNKNOWN, *hazards), UNTESTED
    elif sheet.flash_point_c is not None and sheet.flash_point_c < 60.0:
        hazards, status = (FLAMMABLE, *hazards), IGNITABLE
    elif is_watery(sheet):
        hazards, status = (*hazards, NOT_TO_DRAIN), NO_D001
    return SpentBath(
        key, f"Spent {sheet.name} with resin", f"{sheet.name}, dissolved acrylate resin", hazards,
        "it is the site's own solvent with its own profile at the contractor", status,
    )  # fmt: skip
