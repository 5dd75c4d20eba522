"""What is known of a solvent's vapour: its pressure, when it catches fire, what may be breathed."""

import math
from dataclasses import dataclass

from app.domain.errors import DomainError

ZERO_C_K = 273.15


@dataclass(frozen=True)
class Limit:
    """An exposure limit with where it comes from."""

    name: str
    ppm: float
    source: str


@dataclass(frozen=True)
class Vapour:
    """What is known of a solvent's vapour.

    Attributes:
        pressure_pa: vapour pressure by temperature in C, ascending.
        lower_percent, upper_percent: flammable between these, volume percent in air; None where
            the reference carries none.
        limits: exposure limits; the site's own authority decides which counts.
    """

    molar_mass_g_mol: float
    pressure_pa: tuple[tuple[float, float], ...]
    lower_percent: float | None = None
    upper_percent: float | None = None
    limits_source: str = ""
    limits: tuple[Limit, ...] = ()

    def pressure(self, temperature_c: float) -> float:
        """Vapour pressure in Pa, by ln p straight in 1/T between the rows (Clausius-Clapeyron).

        Raises:
            DomainError: outside the rows.
        """
        rows = self.pressure_pa
        if not rows[0][0] <= temperature_c <= rows[-1][0]:
            raise DomainError(f"The temperature lies outside {rows[0][0]:g} to {rows[-1][0]:g} C.")
        above = next(i for i, row in enumerate(rows) if temperature_c <= row[0])
        (low_c, low_pa), (high_c, high_pa) = rows[max(above, 1) - 1 : max(above, 1) + 1]
        low, here, high = (1 / (ZERO_C_K + c) for c in (low_c, temperature_c, high_c))
        share = (here - low) / (high - low)
        return math.exp(math.log(low_pa) + share * (math.log(high_pa) - math.log(low_pa)))
