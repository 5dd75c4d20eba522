"""Two baths in counter-flow: the clean one is moved to the dirty tank, only it is filled fresh.

Loads go through the dirty bath first and carry its liquid into the clean one. `p = D/(V+D)` of each
bath leaves with every load, where D is the drag-out of a load and V the volume of a bath.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

SMALLEST = 1e-9


def flowing_ratio(rinse_ratio: float, stages: int) -> float:
    """C_n/C_0 of a rinse flowing counter-current through `stages` tanks.

    C_n/C_0 = (R-1)/(R^(n+1)-1) with R = F/D, fresh rinse against drag-out. Source: the relation of
    counter-current rinsing in a pollution prevention manual for finishers (p2infohouse 00051).

    Args:
        rinse_ratio: R, above 0.
        stages: n, at least 1.
    """
    if abs(rinse_ratio - 1) < SMALLEST:
        return 1 / (stages + 1)
    return (rinse_ratio - 1) / (rinse_ratio ** (stages + 1) - 1)


def rinse_ratio_for(ratio: float, stages: int) -> float:
    """The R that `flowing_ratio` needs for C_n/C_0 = `ratio` (between 0 and 1)."""
    low, high = 0.0, max(2.0, 2 / ratio)
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (middle, high) if flowing_ratio(middle, stages) > ratio else (low, middle)
    return high


def static_ratios(loads: float, bath_l: float, drag_out_l: float) -> tuple[float, float]:
    """c1/C0 and c2/C0 of two still baths after so many loads that each bring `drag_out_l` at C0.

    c1/C0 = 1 - q^j; c2/C0 = 1 - q^(j+1) - (j+1) p q^j, with p = D/(V+D), q = 1-p. Source: the batch
    formula for still rinse tanks (Journal of the Surface Finishing Society of Japan 28(7),
    abstract); it is the chance of at least k successes in j+k-1 trials.
    """
    p = drag_out_l / (bath_l + drag_out_l)
    q = 1 - p
    return 1 - q**loads, 1 - q ** (loads + 1) - (loads + 1) * p * q**loads


def loads_to_limit(limit_g_l: float, bath_l: float, drag_out_l: float, resin_g: float) -> float:
    """Loads until a bath that starts fresh reaches a limit.

    n = ln(1 - c D/m) / ln(V/(V+D)); from c <- (c V + m)/(V + D), each load bringing m of resin and
    taking D of liquid out. Infinite where the limit lies above the ceiling m/D.
    """
    share = limit_g_l * drag_out_l / resin_g
    if share >= 1:
        return math.inf
    return math.log(1 - share) / math.log(bath_l / (bath_l + drag_out_l))


@dataclass(frozen=True)
class FreshSolvent:
    """Fresh litres for the same number of loads and the same limit of the last bath."""

    single_l: float
    independent_l: float
    cascade_l: float


def fresh_for_loads(
    loads: int, limit_g_l: float, bath_l: float, drag_out_l: float, resin_g: float
) -> FreshSolvent:
    """Fresh solvent with one bath, with two that are both filled anew, with the clean one moved.

    Load by load: a bath is changed after the load that brings the last one to its limit.
    """

    def used_l(baths: int, is_moved: bool) -> float:
        filled_l, held = bath_l * baths, [0.0] * baths
        for load in range(loads):
            carried_g = resin_g
            for place in range(baths):
                held[place] = (held[place] * bath_l + carried_g) / (bath_l + drag_out_l)
                carried_g = held[place] * drag_out_l
            if held[-1] >= limit_g_l and load + 1 < loads:
                filled_l += bath_l if is_moved else bath_l * baths
                held = [*held[1:], 0.0] if is_moved else [0.0] * baths
        return filled_l

    return FreshSolvent(used_l(1, False), used_l(2, False), used_l(2, True))


@dataclass(frozen=True)
class Saving:
    """What moving the clean bath saves, judged by what both baths hold now.

    Attributes:
        loads_ratio: loads until the next swap after moving, against filling both anew.
        fresh_percent: fresh solvent for a load, in percent of filling both anew.
    """

    loads_ratio: float
    fresh_percent: float


def saving(dirty: float, clean: float, dirty_l: float, clean_l: float) -> Saving | None:
    """The saving in fresh solvent per load, from the saturation of both baths on the day.

    In the limit of small loads the batch formula reads c1/C0 = 1 - e^-x, c2/C0 = 1 - e^-x (1 + x),
    with x the drag-out of all loads against the volume of a bath: c2/c1 gives x and C0. After a
    move the dirty tank starts at c2, and c2' = C0 (1 - e^-x) - (C0 - c2) x e^-x reaches c2 again
    at x'. For baths of about the same size; None where the figures give no such x.
    """
    if not 0 < clean < dirty or clean / dirty > 0.95:
        return None
    ratio = clean / dirty
    passed = _root(lambda x: _clean_share(x) / -math.expm1(-x) - ratio)
    ceiling = dirty / -math.expm1(-passed)
    again = _root(lambda x: _after_move(x, ceiling, clean) - clean)
    per_load = (clean_l / again) / ((dirty_l + clean_l) / passed)
    return Saving(again / passed, 100 * per_load)


def _clean_share(x: float) -> float:
    return -math.expm1(-x) - x * math.exp(-x)


def _after_move(x: float, ceiling: float, clean: float) -> float:
    return ceiling * -math.expm1(-x) - (ceiling - clean) * x * math.exp(-x)


def _root(rising: Callable[[float], float]) -> float:
    """Where a rising function of x passes zero, by halving."""
    low, high = SMALLEST, 60.0
    for _ in range(200):
        middle = (low + high) / 2
        low, high = (low, middle) if rising(middle) > 0 else (middle, high)
    return (low + high) / 2
