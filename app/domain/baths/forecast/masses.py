"""What a stretch of work does to a bath's masses: the one arithmetic of all looks ahead.

Masses in grams, volumes in litres, densities in g/mL. Arrays of any shape that fit together: paths
of one bath (forecast), or of all baths of a room (spend/whatif/replay.py). Ideal mixing: volumes
add up.
"""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Masses = NDArray[np.floating[Any]]
Number = Any  # a float, or an array that fits the masses

MOST_DRAGGED_OUT = 0.5


def percent_of(resin_g: Masses, solvent_g: Masses) -> Masses:
    """Saturation in mass percent."""
    found: Masses = 100 * resin_g / (resin_g + solvent_g)
    return found


def volume_l(
    resin_g: Masses, solvent_g: Masses, resin_g_ml: Number, solvent_g_ml: Number
) -> Masses:
    """Volume of the liquid."""
    found: Masses = resin_g * (0.001 / resin_g_ml) + solvent_g * (0.001 / solvent_g_ml)
    return found


def kept_share(out_l: Masses, level_l: Masses) -> Masses:
    """Share of a bath that stays when so much of it leaves with the parts or is taken out."""
    found: Masses = 1 - np.minimum(out_l / level_l, MOST_DRAGGED_OUT)
    return found


def after_work(
    resin_g: Masses, solvent_g: Masses, kept: Masses, load_g: Masses, evaporated_g: Masses
) -> tuple[Masses, Masses]:
    """Resin and solvent after parts brought resin in, bath left with them, and solvent dried."""
    dried = solvent_g * kept - evaporated_g
    return resin_g * kept + load_g, np.maximum(dried, 0.5 * solvent_g)


def missing_l(level_l: Masses, below_l: Number, capacity_l: Number) -> Masses:
    """What is topped up: to the mark, where the bath stands below the level that calls for it."""
    return np.where(level_l < below_l, capacity_l - level_l, 0)
