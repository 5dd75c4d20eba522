"""Telling water from resin: a density alone cannot, with a second reading it can."""

import math
from dataclasses import dataclass

from app.domain.baths.conventions import bath_density, volume_fraction
from app.domain.errors import DomainError
from app.domain.instruments.hydrometer import READING_SD_G_ML, resin_percent, uncertainty
from app.domain.instruments.model import REFERENCE_C, BathLiquid
from app.domain.instruments.refractometer import READING_SD, RESIN_INDEX
from app.domain.instruments.residue import RESIDUE
from app.domain.solvents.density import root

SUSPECT_SD = 2.0
# What a hydrometer may be off by in use, 0.80 mass % of scatter and 0.45 of slow error (the
# estimator's settings), as water: one pair of readings tells less than its scale can show.
IN_USE_WATER_SD_PERCENT = 1.1


@dataclass(frozen=True)
class WaterSplit:
    """Resin and water of a bath.

    Attributes:
        resin_percent: resin in mass percent of the bath, with its standard uncertainty.
        water_percent: water in mass percent of the solvent, the resin left out.
        taken_up_percent: of that, what the fresh solvent did not bring, below zero where drier.
        is_apparent: only density spoke; the resin figure may be water.
        is_water_suspected: more water than the fresh solvent's, beyond twice the uncertainty.
        statement: what this says, in one or two sentences.
    """

    resin_percent: float
    resin_sd_percent: float
    water_percent: float
    water_sd_percent: float
    taken_up_percent: float
    is_apparent: bool
    is_water_suspected: bool
    statement: str


def from_density_and_residue(
    density_g_ml: float,
    temperature_c: float,
    residue_percent: float,
    liquid: BathLiquid,
    residue_sd_percent: float = RESIDUE.filter_sd_percent,
) -> WaterSplit:
    """Resin from the residue; the density that is left tells the solvent's water.

    rho_S = (1 - w)/(1/rho - w/rho_R), then the water at which the solvent has that density.

    Raises:
        DomainError: no data on this solvent with water, or the readings contradict each other.
    """
    _check_table(liquid)
    resin_density = liquid.resin_density_at(temperature_c)
    shift = _baseline_shift(temperature_c, liquid)

    def water(density: float, residue: float) -> float:
        w = residue / 100
        solvent_density = (1 - w) / (1 / density - w / resin_density)
        return _water_of_density(solvent_density - shift, temperature_c, liquid)

    found = water(density_g_ml, residue_percent)
    by_density = water(density_g_ml + READING_SD_G_ML, residue_percent) - found
    by_residue = water(density_g_ml, residue_percent + residue_sd_percent) - found
    sd = math.hypot(by_density, by_residue)
    return _told_apart(residue_percent, residue_sd_percent, found, sd, liquid)


def from_density_and_index(
    density_g_ml: float,
    temperature_c: float,
    index_20c: float,
    liquid: BathLiquid,
    resin_index: float = RESIN_INDEX,
) -> WaterSplit:
    """Resin and water from density and refractive index, which weigh the two differently.

    Along the mixtures that have the density, the resin rises as the water falls, and the index
    with it: the one with the right index is sought.

    Raises:
        DomainError: no data on this solvent with water, or no mixture has both readings.
    """
    _check_table(liquid)

    def split(density: float, index: float) -> tuple[float, float]:
        def miss(water: float) -> float:
            resin = _resin_with_water(water, density, temperature_c, liquid)
            return _index(resin, water, liquid, resin_index) - index

        water = root(miss, -5.0, 40.0, "No mixture of resin, solvent and water has both readings.")
        return _resin_with_water(water, density, temperature_c, liquid), water

    resin, water = split(density_g_ml, index_20c)
    by_density = split(density_g_ml + READING_SD_G_ML, index_20c)
    by_index = split(density_g_ml, index_20c + READING_SD)
    resin_sd = math.hypot(by_density[0] - resin, by_index[0] - resin)
    water_sd = math.hypot(by_density[1] - water, by_index[1] - water)
    return _told_apart(resin, resin_sd, water, water_sd, liquid)


def from_density_with_baseline(
    density_g_ml: float, temperature_c: float, liquid: BathLiquid
) -> WaterSplit:
    """Apparent resin above the fill's own baseline, and the water that would look the same.

    The baseline takes the fresh solvent's water out of the figure, not what was taken up since.

    Raises:
        DomainError: there is no baseline, or no data on this solvent with water.
        FieldError: resin and solvent are too alike for a density to tell.
    """
    _check_table(liquid)
    baseline = liquid.baseline
    if baseline is None or baseline.density_g_ml is None:
        raise DomainError("First measure the density of this fill's fresh solvent.")
    resin = resin_percent(density_g_ml, temperature_c, liquid)
    resin_sd = uncertainty(density_g_ml, temperature_c, liquid).total
    shift = _baseline_shift(temperature_c, liquid)
    alike = _water_of_density(density_g_ml - shift, temperature_c, liquid)
    fresh = 100 - liquid.purity_percent
    statement = (
        f"Apparent: {resin:.1f} % resin, or {alike - fresh:.1f} % water taken up and no resin at "
        "all, or some of both. A residue test or a refractive index tells which."
    )
    # Any share between none and all of it may be water: an even spread has this deviation.
    water_sd = abs(alike - fresh) / math.sqrt(12)
    return WaterSplit(resin, resin_sd, fresh, water_sd, 0.0, True, False, statement)


def water_that_looks_alike(mass_percent: float, temperature_c: float, liquid: BathLiquid) -> float:
    """Water in mass percent of a resin-free solvent as dense as a bath with that much resin.

    Raises:
        DomainError: no data on this solvent with water.
    """
    _check_table(liquid)
    solvent = liquid.solvent.density_g_ml(temperature_c, liquid.purity_percent)
    density = bath_density(mass_percent / 100, liquid.resin_density_at(temperature_c), solvent)
    return _water_of_density(density, temperature_c, liquid)


def _told_apart(
    resin: float, resin_sd: float, water: float, water_sd: float, liquid: BathLiquid
) -> WaterSplit:
    taken_up = water - (100 - liquid.purity_percent)
    is_suspected = taken_up > SUSPECT_SD * math.hypot(water_sd, IN_USE_WATER_SD_PERCENT)
    statement = f"{resin:.1f} % resin, and {water:.1f} % water in the solvent"
    if is_suspected:
        statement += f": {taken_up:.1f} % more than it came with. Water uptake suspected."
    else:
        statement += ", as much as it came with."
    return WaterSplit(resin, resin_sd, water, water_sd, taken_up, False, is_suspected, statement)


def _resin_with_water(
    water: float, density_g_ml: float, temperature_c: float, liquid: BathLiquid
) -> float:
    solvent = liquid.solvent.density_g_ml(temperature_c, 100 - water)
    solvent += _baseline_shift(temperature_c, liquid)
    resin = liquid.resin_density_at(temperature_c)
    return 100 * resin * (density_g_ml - solvent) / (density_g_ml * (resin - solvent))


def _index(resin: float, water: float, liquid: BathLiquid, resin_index: float) -> float:
    """Refractive index at 20 C of a bath, the volumes of resin and solvent mixing."""
    shift = liquid.fresh_index() - liquid.solvent.index(liquid.purity_percent)
    solvent_index = liquid.solvent.index(100 - water) + shift
    solvent_density = liquid.solvent.density_g_ml(REFERENCE_C, 100 - water)
    phi = volume_fraction(resin / 100, liquid.resin_density_g_ml, solvent_density)
    return phi * resin_index + (1 - phi) * solvent_index


def _baseline_shift(temperature_c: float, liquid: BathLiquid) -> float:
    """How far this fill's fresh solvent lies above the table, g/mL."""
    table = liquid.solvent.density_g_ml(temperature_c, liquid.purity_percent)
    return liquid.solvent_density_at(temperature_c) - table


def _water_of_density(density_g_ml: float, temperature_c: float, liquid: BathLiquid) -> float:
    return 100 - liquid.solvent.density.purity_percent(temperature_c, density_g_ml)


def _check_table(liquid: BathLiquid) -> None:
    if not liquid.solvent.has_water_table:
        raise DomainError(f"There are no data on {liquid.solvent.name} with water.")
