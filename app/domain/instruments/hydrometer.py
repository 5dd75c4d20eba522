"""Resin from the density of the bath, at the temperature it was read at."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from app.domain.baths.conventions import mass_fraction_of_density
from app.domain.errors import FieldError
from app.domain.instruments.model import (
    LIGHTER_THAN_FRESH,
    Alternative,
    Baseline,
    BathLiquid,
    InputField,
    Instrument,
    Measured,
    Told,
    temperature_doubts,
    temperature_field,
    temperature_problems,
)

LEAST_DIFFERENCE_G_ML = 0.10
READING_SD_G_ML = 0.001
TEMPERATURE_SD_C = 1.0
BASELINE_TEMPERATURE_SD_C = 0.5  # one thermometer read twice keeps its own error; from memory
PURITY_SD_PERCENT = 1.0
RESIN_DENSITY_SD_G_ML = 0.02
CANNOT_TELL = (
    "A hydrometer cannot tell resin from cleaner, because {name} is nearly as dense as resin. "
    "Use a refractometer, and read this fill with it while it is fresh."
)
DENSITY = InputField(
    "number",
    "Density",
    "g/mL",
    0.65,
    1.6,
    help="Read at the bottom of the liquid's curve. If the resin is filled, stir the bath first.",
    step=0.0005,
)


@dataclass(frozen=True)
class Uncertainty:
    """Standard uncertainties of a resin share found by density, mass percent, by their cause."""

    reading: float
    temperature: float
    water: float
    resin: float

    @property
    def total(self) -> float:
        """All together, taken as independent."""
        return math.hypot(self.reading, self.temperature, self.water, self.resin)


def convert(values: Mapping[str, float], liquid: BathLiquid) -> Measured:
    """Resin in mass percent from `density_g_ml` read at `temperature_c`.

    w = rho_R (rho - rho_S) / [rho (rho_R - rho_S)], all at the temperature of the reading; rho_S
    is the fill's own baseline where there is one.

    Raises:
        FieldError: resin and solvent are too alike, the bath reads denser than its resin, or how
            dense the fresh liquid is depends on how strong it was mixed.
    """
    density_g_ml, temperature_c = values["density_g_ml"], values["temperature_c"]
    if liquid.solvent.fresh_varies:
        raise FieldError("density_g_ml", CANNOT_TELL.format(name=liquid.solvent.name))
    mass_percent = resin_percent(density_g_ml, temperature_c, liquid)
    if mass_percent > 100:
        raise FieldError("density_g_ml", "This is denser than the resin itself.")
    notes = [LIGHTER_THAN_FRESH] if mass_percent < 0 else []
    if liquid.solvent.is_hygroscopic:
        notes.append("Apparent: density alone cannot tell resin from water taken up.")
    return Measured(
        mass_percent,
        uncertainty(density_g_ml, temperature_c, liquid).total,
        liquid.solvent.is_hygroscopic,
        "hydrometer",
        tuple(notes),
        temperature_doubts(temperature_c),
        _alternatives(density_g_ml, temperature_c, liquid),
        Told("density", (density_g_ml, temperature_c)),
    )


def resin_percent(density_g_ml: float, temperature_c: float, liquid: BathLiquid) -> float:
    """Resin in mass percent, below zero where the bath reads lighter than fresh solvent.

    Raises:
        FieldError: resin and solvent are too alike for a density to tell.
    """
    resin = liquid.resin_density_at(temperature_c)
    solvent = liquid.solvent_density_at(temperature_c)
    if abs(resin - solvent) < LEAST_DIFFERENCE_G_ML:
        raise FieldError(
            "density_g_ml",
            f"A density cannot tell this resin ({resin:.3f} g/mL) from the solvent "
            f"({solvent:.3f} g/mL). Use another method.",
        )
    return 100 * mass_fraction_of_density(density_g_ml, resin, solvent)


def uncertainty(density_g_ml: float, temperature_c: float, liquid: BathLiquid) -> Uncertainty:
    """Propagated to first order (JCGM 100:2008, 5.1.2) from the four inputs of the formula.

    With a baseline the water of the fresh solvent cancels, and the reading counts twice.
    """
    rho, resin = density_g_ml, liquid.resin_density_at(temperature_c)
    solvent = liquid.solvent_density_at(temperature_c)
    difference = resin - solvent
    per_reading = resin * solvent / (rho**2 * difference)
    per_solvent = -resin * (resin - rho) / (rho * difference**2)
    per_resin = -solvent * (rho - solvent) / (rho * difference**2)
    slope_t = _slope_per_c(temperature_c, liquid)
    has_baseline = liquid.baseline is not None and liquid.baseline.density_g_ml is not None
    if has_baseline:
        reading = math.hypot(per_reading, per_solvent) * READING_SD_G_ML
        temperature = per_solvent * slope_t * math.sqrt(2) * BASELINE_TEMPERATURE_SD_C
        water = 0.0
    else:
        reading = per_reading * READING_SD_G_ML
        temperature = per_solvent * slope_t * TEMPERATURE_SD_C
        water = per_solvent * _solvent_sd_g_ml(temperature_c, liquid)
    parts = (reading, temperature, water, per_resin * RESIN_DENSITY_SD_G_ML)
    return Uncertainty(*(100 * abs(part) for part in parts))


def _slope_per_c(temperature_c: float, liquid: BathLiquid) -> float:
    above = liquid.solvent_density_at(temperature_c + 0.5)
    return above - liquid.solvent_density_at(temperature_c - 0.5)


def _solvent_sd_g_ml(temperature_c: float, liquid: BathLiquid) -> float:
    """What a percent of water more or less does; no less than the table's own uncertainty."""
    solvent, purity = liquid.solvent, liquid.purity_percent
    wetter = solvent.density_g_ml(temperature_c, purity - PURITY_SD_PERCENT / 2)
    drier = solvent.density_g_ml(temperature_c, purity + PURITY_SD_PERCENT / 2)
    return max(abs(wetter - drier), solvent.density_sd_g_ml(purity))


def _alternatives(
    density_g_ml: float, temperature_c: float, liquid: BathLiquid
) -> tuple[Alternative, ...]:
    """Digits typed in the wrong order."""
    texts = sorted(_swapped_digits(f"{density_g_ml:.4f}".rstrip("0")))
    return tuple(
        Alternative(f"Was {text} g/mL meant?", resin_percent(float(text), temperature_c, liquid))
        for text in texts
        if DENSITY.low <= float(text) <= DENSITY.high
    )


def _swapped_digits(text: str) -> set[str]:
    """The number with two neighbouring decimals exchanged, wherever that changes it."""
    point = text.index(".")
    pairs = range(point + 1, len(text) - 1)
    swapped = {text[:i] + text[i + 1] + text[i] + text[i + 2 :] for i in pairs}
    return swapped - {text}


def baseline(values: Mapping[str, float], before: Baseline | None) -> Baseline:
    """The density of the fresh solvent; the index stays as it was read."""
    index = before.index if before else None
    return Baseline(values["density_g_ml"], index, values["temperature_c"])


HYDROMETER = Instrument(
    key="hydrometer",
    name="Hydrometer",
    fields={
        "density_g_ml": DENSITY,
        "temperature_c": temperature_field("The sample's, when the hydrometer was read."),
    },
    required=("density_g_ml", "temperature_c"),
    filter_sd_percent=0.80,
    help=(
        "Density of the bath in a cylinder. One degree of error is about 0.4 % resin, and water "
        "taken up looks like resin. Measure the fresh solvent of each fill once."
    ),
    convert=convert,
    check=temperature_problems,
    baseline=baseline,
    bias="hydrometer",
    sees_filler=True,
    words={"density": "density_g_ml", "hydrometer": "density_g_ml"},
    place=10,
)
