"""The instruments a bath is measured with. A new one is one module of this package."""

import math
import sys
from collections.abc import Mapping
from dataclasses import replace

from app.domain.errors import FieldError
from app.domain.instruments.model import (
    Alternative,
    Baseline,
    BathLiquid,
    CalibrationPoint,
    InputField,
    Instrument,
    Measured,
    temperature_doubts,
)
from app.domain.instruments.refractometer import calibration_line
from app.domain.registry import found_in

__all__ = [
    "FILTER_SD_PERCENT",
    "INSTRUMENTS",
    "Alternative",
    "Baseline",
    "BathLiquid",
    "CalibrationPoint",
    "InputField",
    "Instrument",
    "Measured",
    "baseline_of",
    "calibration_line",
    "doubts",
    "fresh_doubts",
    "liquid_of_fresh",
    "measure",
]

INSTRUMENTS: Mapping[str, Instrument] = found_in(sys.modules[__name__], Instrument)
FILTER_SD_PERCENT: Mapping[str, float] = {
    key: item.filter_sd_percent for key, item in INSTRUMENTS.items()
}
FAR_SD = 5.0
NEAR_SD = 3.0
FRESH_FAR_G_ML = 0.008  # about 4 % of water in 2-propanol; common practice, no source
FRESH_FAR_INDEX = 0.003  # about 4 % of resin in 2-propanol; common practice, no source


def measure(method: str, values: Mapping[str, float], liquid: BathLiquid) -> Measured:
    """What a reading says about the bath, in mass percent of resin.

    Raises:
        FieldError: no such method, a value is missing, or it cannot measure this liquid.
    """
    instrument = INSTRUMENTS.get(method)
    if instrument is None:
        known = ", ".join(INSTRUMENTS)
        raise FieldError(
            "method", f"“{method[:40]}” is not a known method. Known methods: {known}."
        )
    if problems := instrument.problems(values):
        raise problems[0]
    return instrument.convert(values, liquid)


def baseline_of(
    method: str, values: Mapping[str, float], before: Baseline | None = None
) -> Baseline | None:
    """The baseline after fresh solvent was read; `before` keeps what the other method gave.

    A residue or a sensor says nothing about the fresh solvent and leaves the baseline as it was.
    """
    instrument = INSTRUMENTS.get(method)
    if instrument is None or instrument.baseline is None:
        return before
    return instrument.baseline(values, before)


def fresh_doubts(method: str, values: Mapping[str, float], liquid: BathLiquid) -> tuple[str, ...]:
    """What is odd about a reading of fresh solvent, as sentences that ask again.

    A wrong baseline bends every later reading of the fill, so it is held against the table. A
    method that gives no baseline raises no question.
    """
    found = baseline_of(method, values)
    if found is None:
        return ()
    asked = list(temperature_doubts(values["temperature_c"]))
    if liquid.solvent.fresh_varies:
        return tuple(asked)  # no table says what it should read
    solvent, purity = liquid.solvent, liquid.purity_percent
    if found.density_g_ml is not None:
        usual = solvent.density_g_ml(found.temperature_c, purity)
        far = max(FRESH_FAR_G_ML, NEAR_SD * solvent.density_sd_g_ml(purity))
        if abs(found.density_g_ml - usual) > far:
            asked.append(_not_fresh(solvent.name, purity, f"{usual:.4f} g/mL"))
    elif solvent.needs_fresh_index:
        pass  # no table says what it should show
    elif found.index is not None and abs(found.index - solvent.index(purity)) > FRESH_FAR_INDEX:
        asked.append(_not_fresh(solvent.name, purity, f"an index of {solvent.index(purity):.4f}"))
    return tuple(asked)


def liquid_of_fresh(method: str, values: Mapping[str, float], liquid: BathLiquid) -> BathLiquid:
    """What is known of a liquid once a reading of it fresh counts: where no table knows what it
    reads, that reading is its own baseline."""
    if not liquid.solvent.needs_fresh_index:
        return liquid
    return replace(liquid, baseline=baseline_of(method, values, liquid.baseline))


def _not_fresh(name: str, purity_percent: float, usual: str) -> str:
    return f"{name} of {purity_percent:g} % should read about {usual} when fresh. Is this fresh?"


def doubts(measured: Measured, expected_mean: float, expected_sd: float) -> tuple[str, ...]:
    """What is odd about a reading beside the estimate, as sentences that ask again.

    Args:
        expected_mean: the estimate before the reading, mass percent.
        expected_sd: its standard deviation, mass percent.
    """
    noise = max(measured.sd_percent, FILTER_SD_PERCENT[measured.channel])
    sd = math.hypot(expected_sd, noise)
    found = list(measured.doubts)
    if abs(measured.mass_percent - expected_mean) <= FAR_SD * sd:
        return tuple(found)
    found.append(
        f"It means {measured.mass_percent:.1f} % resin; the log says about {expected_mean:.1f} %."
    )
    near = [a for a in measured.alternatives if abs(a.mass_percent - expected_mean) <= NEAR_SD * sd]
    near.sort(key=lambda a: abs(a.mass_percent - expected_mean))
    return (*found, *(a.question for a in near[:2]))
