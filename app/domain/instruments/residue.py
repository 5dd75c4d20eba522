"""Resin weighed: what stays of a sample when the solvent has evaporated."""

import math
from collections.abc import Mapping

from app.domain.errors import FieldError
from app.domain.instruments.model import (
    Alternative,
    BathLiquid,
    InputField,
    Instrument,
    Measured,
    Told,
)

BALANCE_SD_G = 0.01
SMALL_SAMPLE_G = 5.0


def convert(values: Mapping[str, float], liquid: BathLiquid) -> Measured:
    """Non-volatile matter in mass percent, 100 residue / sample, as ISO 3251 defines it.

    Raises:
        FieldError: the solvent does not evaporate in the open, or leaves something itself.
    """
    if math.isnan(liquid.solvent.boiling_point_c):
        raise FieldError(
            "residue_g",
            f"The boiling point of {liquid.solvent.name} is not known, so it is not clear if a "
            "sample dries. Enter it from the data sheet, or use another method.",
        )
    if liquid.solvent.dries_slowly:
        raise FieldError(
            "residue_g",
            f"{liquid.solvent.name} boils at {liquid.solvent.boiling_point_c:.0f} °C. A sample "
            "does not dry, so what stays is not just resin. Use another method.",
        )
    if liquid.solvent.fresh_varies:
        raise FieldError(
            "residue_g",
            f"What the cleaner of a {liquid.solvent.name.lower()} leaves in the dish would count "
            "as resin. Use a refractometer, and read this fill with it while it is fresh.",
        )
    sample_g, residue_g = values["sample_g"], values["residue_g"]
    share = residue_g / sample_g
    notes = []
    if not liquid.solvent.is_hygroscopic:
        notes.append("What the wash itself leaves behind counts as resin.")
    if sample_g < SMALL_SAMPLE_G:
        notes.append("A sample of 10 g or more would be more certain.")
    alternatives = tuple(
        Alternative(f"Was {other_g:.10g} g of residue meant?", 100 * other_g / sample_g)
        for other_g in (residue_g / 10, residue_g * 10)
    )
    return Measured(
        100 * share,
        sd_percent(sample_g, share),
        False,
        "residue",
        tuple(notes),
        alternatives=alternatives,
        told=Told("resin", (100 * share,)),
    )


def sd_percent(sample_g: float, share: float) -> float:
    """Standard uncertainty in mass percent: each mass is the difference of two weighings."""
    weighing_g = BALANCE_SD_G * math.sqrt(2)
    return 100 * weighing_g / sample_g * math.hypot(1.0, share)


def check(values: Mapping[str, float]) -> list[FieldError]:
    """The residue cannot outweigh its sample."""
    if values["residue_g"] > values["sample_g"]:
        message = "The residue weighs more than the sample. Take off the dish, and check both."
        return [FieldError("residue_g", message)]
    return []


RESIDUE = Instrument(
    key="residue",
    name="Residue test",
    fields={
        "sample_g": InputField(
            "number",
            "Sample",
            "g",
            0.1,
            1000,
            step=0.01,
            help="The liquid, without the dish.",
        ),
        "residue_g": InputField(
            "number", "Residue", "g", 0, 1000, step=0.01, help="What stayed, without the dish."
        ),
    },
    required=("sample_g", "residue_g"),
    filter_sd_percent=0.17,
    help=(
        "Weigh about 10 g into a dish, let the solvent evaporate in the open under ventilation, "
        "weigh again. Never put a dish with solvent in a hot oven: it can ignite. Light reactive "
        "parts of a resin evaporate too, so it reads a little low."
    ),
    convert=convert,
    check=check,
    words={
        "sample": "sample_g",
        "sample mass": "sample_g",
        "residue": "residue_g",
        "residue mass": "residue_g",
        "dry residue": "residue_g",
    },
    place=20,
)
