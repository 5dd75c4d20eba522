"""The working curve of a resin: how deep an exposure cures.

An interlaboratory study of one resin found penetration depths apart by a factor of 7 and critical
exposures by 70 between 24 laboratories (Kolibaba et al., Additive Manufacturing 84 (2024) 104082,
abstract): so there are no values here but those that the room measured. The curve describes curing
layer by layer; the dose of a post-cure is the recipe's.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class WorkingCurve:
    """Jacobs' equation: depth = penetration * ln(exposure / critical).

    Attributes:
        penetration_mm: D_p, the depth at which the light has fallen to 1/e.
        critical_mj_cm2: E_c, the exposure at which the resin begins to gel.
    """

    penetration_mm: float
    critical_mj_cm2: float

    def depth_mm(self, exposure_mj_cm2: float) -> float:
        """Cured depth; 0 below the critical exposure."""
        if exposure_mj_cm2 <= self.critical_mj_cm2:
            return 0.0
        return self.penetration_mm * math.log(exposure_mj_cm2 / self.critical_mj_cm2)

    def exposure_mj_cm2(self, depth_mm: float) -> float:
        """The exposure that cures to a depth."""
        return self.critical_mj_cm2 * math.exp(depth_mm / self.penetration_mm)


def fit_curve(points: Sequence[tuple[float, float]]) -> WorkingCurve:
    """The curve through measured pairs of exposure (mJ/cm2) and depth (mm), by least squares.

    Raises:
        ValueError: fewer than two exposures, a value that is not positive, or depths that do not
            grow with exposure; the message says which.
    """
    if any(not (math.isfinite(e) and math.isfinite(d) and e > 0 and d > 0) for e, d in points):
        raise ValueError("Exposures and depths must be greater than zero.")
    if len({exposure for exposure, _ in points}) < 2:
        raise ValueError("A curve needs at least two different exposures.")
    logs = [math.log(exposure) for exposure, _ in points]
    depths = [depth for _, depth in points]
    middle, level = sum(logs) / len(logs), sum(depths) / len(depths)
    spread = sum((x - middle) ** 2 for x in logs)
    slope = sum((x - middle) * (y - level) for x, y in zip(logs, depths, strict=True)) / spread
    if slope <= 0:
        raise ValueError("The depths must increase with exposure. These do not.")
    critical = math.exp(middle - level / slope)
    if not math.isfinite(critical) or critical <= 0:
        raise ValueError("No curve fits these points. The depths hardly increase with exposure.")
    return WorkingCurve(slope, critical)
