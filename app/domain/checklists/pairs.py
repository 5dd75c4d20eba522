"""Two baths in counter-flow: the clean one is moved to the dirty tank, only it is filled fresh.

Loads go through the dirty bath first and carry its liquid into the clean one. `p = D/(V+D)` of each
bath leaves with every load, where D is the drag-out of a load and V the volume of a bath.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

SMALLEST = 1e-9


def static_ratios(loads: float, bath_l: float, drag_out_l: float) -> tuple[float, float]:
    """c1/C0 and c2/C0 of two still baths after so many loads that each bring `drag_out_l` at C0.

    c1/C0 = 1 - q^j; c2/C0 = 1 - q^(j+1) - (j+1) p q^j, with p = D/(V+D), q = 1-p. Source: the batch
    formula for still rinse tanks (Journal of the Surface Finishing Society of Japan 28(7),
    abstract); it is the chance of at least k successes in j+k-1 trials.
    """
    p = drag_out_l / (bath_l + drag_out_l)
    q = 1 - p
    return 1 - q**loads, 1 - q ** (loads + 1) - (loads + 1) * p * q**loads


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
