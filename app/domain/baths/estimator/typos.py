"""A wash whose size nobody can have meant: a nought too many, or several."""

import math
from dataclasses import dataclass
from statistics import median

from app.domain.baths.estimator.transitions import Liquid
from app.domain.baths.habits import Habits
from app.domain.roomlog.kinds import Wash

FEWEST_LOADS = 5
LEAST_LN_SD = 0.5  # of a room's loads, from memory
UNKNOWN_LN_SD = 1.2
USUAL_FILL_SHARE = 0.004  # resin of a usual wash against a fill; from memory
ODD_LOADS = 0.02  # loads far from a room's usual ones
NOUGHT_CHANCE = 0.0005  # each number of noughts too many; from memory
MOST_NOUGHTS = 6
IMPOSSIBLE_SHARE = 0.3  # resin of one wash against the bath's liquid
IMPOSSIBLE = 1e-4
LN_10 = math.log(10)
MEASURES = ("area_cm2", "mass_g", "parts")


@dataclass(frozen=True, slots=True)
class Typo:
    """What is likely wrong with a wash: its size was `factor` times smaller, with that chance."""

    chance: float
    factor: float


RIGHT = Typo(0.0, 1.0)


def typo_of(wash: Wash, usual_g: float, habits: Habits, liquid: Liquid) -> Typo:
    """Whether a wash's size is one that its tank's washes have, by Bayes' rule.

    Sizes of washes are lognormal around the tank's median, a few far from it; a wrong one has a
    number of noughts too many. `usual_g` is the resin that the wash would bring in.
    """
    name = next((name for name in MEASURES if getattr(wash, name) is not None), "parts")
    size = float(getattr(wash, name) or 1)
    recent = [x for load in habits.loads[-FEWEST_LOADS - 1 : -1] if (x := getattr(load, name))]
    if len(recent) == FEWEST_LOADS and size <= 2 * max(recent):
        return RIGHT
    before = [float(x) for load in habits.loads[:-1] if (x := getattr(load, name)) is not None]
    if len(before) >= FEWEST_LOADS:
        middle = median(before)
        apart = median(abs(math.log(x / middle)) for x in before)
        ln_sd = max(1.4826 * apart, LEAST_LN_SD)  # of a normal distribution by its median apart
    else:
        middle = size * USUAL_FILL_SHARE * liquid.fill_g / max(usual_g, 1e-9)
        ln_sd = UNKNOWN_LN_SD
    off = math.log(size / middle)
    if off < 2 * ln_sd:
        return RIGHT
    right = (1 - ODD_LOADS) * _normal(off, ln_sd) + ODD_LOADS * _normal(off, 3 * ln_sd)
    if usual_g > IMPOSSIBLE_SHARE * liquid.fill_g:
        right *= IMPOSSIBLE
    noughts = {
        k: NOUGHT_CHANCE * _normal(off - k * LN_10, ln_sd) for k in range(1, MOST_NOUGHTS + 1)
    }
    wrong = sum(noughts.values())
    likeliest = max(noughts, key=lambda k: noughts[k])
    return Typo(wrong / (wrong + right), 10.0**likeliest)


def _normal(off: float, sd: float) -> float:
    return math.exp(-0.5 * (off / sd) ** 2) / sd
