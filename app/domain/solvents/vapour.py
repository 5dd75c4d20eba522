"""What is known of a solvent's vapour: its pressure, when it catches fire, what may be breathed."""

import math
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Literal

from app.domain.errors import DomainError

ZERO_C_K = 273.15
LIMITS_AS_OF, REVIEW_AFTER = date(2026, 11, 29), timedelta(days=365)
"""When the exposure limits were looked up; and when again: common practice, no source."""


HowRead = Literal["read", "second hand", "from memory", "data sheet", "set by the site"]
"""How a limit was come by, in the words that the rules of waste use as well."""


@dataclass(frozen=True)
class Paper:
    """A list of limits, or an entry of one, and how it was read."""

    name: str
    how_read: HowRead

    def __str__(self) -> str:
        return self.name if self.how_read == "data sheet" else f"{self.name}; {self.how_read}"


@dataclass(frozen=True)
class Limit:
    """An exposure limit with where it comes from and how that was read.

    Attributes:
        name: what it holds for: `8 hours`, `15 minutes`, `danger to life`.
        paper: where it stands and how that was read.
        is_danger: immediately dangerous: a level to leave at, never one to hold.
        where: keys of the sets of rules in whose country it holds; none for one that is shown
            everywhere beside those of the country.
        as_of: when it was looked up, or the day of the data sheet; None where that has none.
    """

    name: str
    ppm: float
    paper: Paper
    is_danger: bool = False
    where: tuple[str, ...] = ()
    as_of: date | None = LIMITS_AS_OF

    @property
    def source(self) -> str:
        """Where it stands and how that was read, in words."""
        return str(self.paper)

    @property
    def review_on(self) -> date | None:
        """When somebody should look it up again; None where nobody knows how old it is."""
        return None if self.as_of is None else self.as_of + REVIEW_AFTER

    def is_review_due(self, today: date, looked_on: date | None = None) -> bool:
        """That day has come; `looked_on` is when somebody last looked the limits up again."""
        if self.as_of is None:
            return True
        return max(self.as_of, looked_on or self.as_of) + REVIEW_AFTER <= today


@dataclass(frozen=True)
class Vapour:
    """What is known of a solvent's vapour.

    Attributes:
        pressure_pa: vapour pressure by temperature in C, ascending.
        lower_percent, upper_percent: flammable between these, volume percent in air; None where
            the reference carries none.
        limits: exposure limits; the site's own authority decides which counts.
        has_skin_notation: it goes through the skin as well.
    """

    molar_mass_g_mol: float
    pressure_pa: tuple[tuple[float, float], ...]
    lower_percent: float | None = None
    upper_percent: float | None = None
    limits_source: str = ""
    limits: tuple[Limit, ...] = ()
    has_skin_notation: bool = False

    @property
    def leave_at(self) -> Limit | None:
        """The level at which everybody leaves; None where none is carried."""
        return next((limit for limit in self.limits if limit.is_danger), None)

    @property
    def held(self) -> tuple[Limit, ...]:
        """The limits that air is held under."""
        return tuple(limit for limit in self.limits if not limit.is_danger)

    def held_in(self, rule_set: str) -> tuple[Limit, ...]:
        """Of those the ones of a set of rules, and a site's own data sheet; the lowest first."""
        found = (one for one in self.held if rule_set in one.where or one.where == ())
        return tuple(sorted(found, key=lambda one: (one.name, one.ppm)))

    def held_elsewhere(self, rule_set: str) -> tuple[Limit, ...]:
        """Those of other countries, for comparison."""
        return tuple(one for one in self.held if one.where and rule_set not in one.where)

    def pressure(self, temperature_c: float) -> float:
        """Vapour pressure in Pa, by ln p straight in 1/T between the rows (Clausius-Clapeyron).

        Raises:
            DomainError: outside the rows.
        """
        rows = self.pressure_pa
        if not rows[0][0] <= temperature_c <= rows[-1][0]:
            raise DomainError(f"The temperature is outside {rows[0][0]:g} to {rows[-1][0]:g} °C.")
        above = next(i for i, row in enumerate(rows) if temperature_c <= row[0])
        (low_c, low_pa), (high_c, high_pa) = rows[max(above, 1) - 1 : max(above, 1) + 1]
        low, here, high = (1 / (ZERO_C_K + c) for c in (low_c, temperature_c, high_c))
        share = (here - low) / (high - low)
        return math.exp(math.log(low_pa) + share * (math.log(high_pa) - math.log(low_pa)))
