"""Output of a lamp over its hours: an exponential through the readings, and how far it may reach.

The method is that of the lumen-maintenance standard IES TM-21 (source of its rules below): least
squares on the logarithm of the output, projected at most a multiple of the tested hours. It is made
for visible LED packages at a fixed case temperature; using it for the radiometer log of a curing
station is an adaptation, and holds with one radiometer of the lamp's band only.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Literal

from app.domain.curing.student import two_sided

Basis = Literal["few", "below_standard", "standard"]

# IES TM-21-11, 5.2, from memory: readings before 1000 h are left out; of a test of up to 10 000 h
# the last 5000 h are used, of a longer one the last half.
BURN_IN_H = 1000.0
LAST_H = 5000.0
LONG_TEST_H = 10_000.0
# LM-80 with TM-21-11, from memory: at least 6000 h tested, measured every 1000 h or oftener.
STANDARD_TEST_H = 6000.0
STANDARD_READINGS = 6
FEW = 5  # common practice, no source: below it a line through scattered points says little
FEWEST = 3  # two points leave no degree of freedom
SHARE = 0.90


@cache
def _t(freedom: int) -> float:
    return two_sided(SHARE, freedom)


def permitted_multiple(light_sources: int | None) -> float:
    """How many times the tested hours a projection may reach.

    IES TM-21-11, 5.2.5: six times with 20 samples or more, 5.5 times with 10 to 19 (from memory;
    the six also in "An Intuitive Metric for Lumen Maintenance", IES FIRES, 12 February 2019: 6000 h
    tested reach 36 000 h, 10 000 h reach 60 000 h). Below ten the standard permits none; we then
    stop at twice the tested hours (common practice, no source). Lamps or LEDs that age side by side
    in the chamber count as samples.
    """
    if light_sources is not None and light_sources >= 20:
        return 6.0
    if light_sources is not None and light_sources >= 10:
        return 5.5
    return 2.0


def _exp(value: float) -> float:
    """The exponential, held within what a number can be: readings may be nonsense."""
    return math.exp(min(max(value, -700.0), 700.0))


@dataclass(frozen=True)
class Point:
    """A measured output: hours of the lamp, mean irradiance in mW/cm2."""

    hours_h: float
    mw_cm2: float


@dataclass(frozen=True)
class Fit:
    """Output = initial * exp(-alpha * hours), fitted through `used` readings.

    Attributes:
        alpha_per_h: decay an hour; not positive means no measurable decline.
        log_initial: logarithm of the fitted output at 0 h (B of the standard).
        scatter: standard deviation of the readings about the line, of the logarithm.
        middle_h, spread_h2: mean of the hours, and the sum of their squared distances from it.
        basis: `few` readings, `below_standard`, or as many over as long as the standard asks.
        first_h, tested_h: hours at the first and the last reading fitted.
        covered_h: hours over which the lamp was watched: from new where the first reading came
            within 1000 h, as in the standard's tests, else from its first reading.
        multiple: a projection ends at this multiple of the hours covered.
    """

    alpha_per_h: float
    log_initial: float
    scatter: float
    middle_h: float
    spread_h2: float
    used: int
    left_out: int
    basis: Basis
    first_h: float
    tested_h: float
    covered_h: float
    multiple: float

    @property
    def cap_h(self) -> float:
        """The hours beyond which nothing is said.

        Of a lamp watched from new that is the standard's multiple of the tested hours. Of one whose
        first thousands of hours nobody measured, only what was watched counts as tested.
        """
        return self.tested_h + (self.multiple - 1) * self.covered_h

    @property
    def declines(self) -> bool:
        """A decline was measured: without one nothing is projected."""
        return self.alpha_per_h > 0

    @property
    def alpha_reach_per_h(self) -> float:
        """Half the 90 % interval of the decay."""
        return _t(self.used - 2) * self.scatter / math.sqrt(self.spread_h2)

    @property
    def is_sure(self) -> bool:
        """Zero decay lies outside the 90 % interval."""
        return self.alpha_per_h > self.alpha_reach_per_h

    def output_mw_cm2(self, hours_h: float) -> float:
        """The fitted output at those hours, held where it may no longer be projected."""
        return _exp(self._log(self._held(hours_h)))

    def interval_mw_cm2(self, hours_h: float) -> tuple[float, float]:
        """The 90 % interval of the fitted output."""
        hours_h = self._held(hours_h)
        middle, reach = self._log(hours_h), self._reach(hours_h)
        return _exp(middle - reach), _exp(middle + reach)

    @property
    def middle_mw_cm2(self) -> float:
        """The mean output over the readings fitted (geometric)."""
        return _exp(self._log(self.middle_h))

    def spread(self, hours_h: float) -> float:
        """Standard deviation of one more reading at those hours, of the logarithm."""
        share = 1 + 1 / self.used + (self._held(hours_h) - self.middle_h) ** 2 / self.spread_h2
        return self.scatter * math.sqrt(share)

    def hours_to(self, mw_cm2: float) -> float:
        """Hours at which the line meets an output, whatever the cap: L_p = ln(B / p) / alpha.

        Source: IES TM-21, equation as printed in IES FIRES, 12 February 2019.

        Raises:
            ValueError: no decline was measured.
        """
        if not self.declines:
            raise ValueError("no measurable decline")
        return (self.log_initial - math.log(mw_cm2)) / self.alpha_per_h

    def hours_within(self, mw_cm2: float) -> tuple[float | None, float | None]:
        """Earliest and latest hours (90 %) at which an output is met; None beyond the cap."""
        if not self.declines:
            return None, None
        goal = math.log(mw_cm2)
        return tuple(self._crossing(goal, sign) for sign in (-1.0, 1.0))  # type: ignore[return-value]

    def _crossing(self, goal: float, sign: float) -> float | None:
        def above(hours_h: float) -> float:
            return self._log(hours_h) + sign * self._reach(hours_h) - goal

        low, high = self.middle_h, self.cap_h  # before its middle the interval opens backwards
        if above(high) > 0:
            return None
        if above(low) <= 0:
            return low
        for _ in range(80):
            middle = (low + high) / 2
            low, high = (middle, high) if above(middle) > 0 else (low, middle)
        return high

    def _held(self, hours_h: float) -> float:
        """Without a decline, and beyond the cap, the line does not go on."""
        return min(hours_h, self.cap_h if self.declines else self.tested_h)

    def _log(self, hours_h: float) -> float:
        return self.log_initial - self.alpha_per_h * hours_h

    def _reach(self, hours_h: float) -> float:
        share = 1 / self.used + (hours_h - self.middle_h) ** 2 / self.spread_h2
        return _t(self.used - 2) * self.scatter * math.sqrt(share)


def chosen(points: Sequence[Point]) -> list[Point]:
    """The readings that the standard has us fit, oldest first.

    Where leaving out the first 1000 h would leave too few, they are all used and `fit` says that it
    stands below the standard.
    """
    ordered = sorted(points, key=lambda point: point.hours_h)
    late = [point for point in ordered if point.hours_h >= BURN_IN_H]
    if len({point.hours_h for point in late}) < FEWEST:
        return ordered
    tested = late[-1].hours_h
    since = tested / 2 if tested > LONG_TEST_H else max(tested - LAST_H, BURN_IN_H)
    recent = [point for point in late if point.hours_h >= since]
    return recent if len({point.hours_h for point in recent}) >= FEWEST else late


def fit(points: Sequence[Point], light_sources: int | None = None) -> Fit | None:
    """The exponential through the readings; None with fewer than three at different hours."""
    used = chosen(points)
    if len({point.hours_h for point in used}) < FEWEST:
        return None
    hours = [point.hours_h for point in used]
    logs = [math.log(point.mw_cm2) for point in used]
    count = len(used)
    middle, level = sum(hours) / count, sum(logs) / count
    spread = sum((h - middle) ** 2 for h in hours)
    slope = sum((h - middle) * (y - level) for h, y in zip(hours, logs, strict=True)) / spread
    rest = sum((y - level - slope * (h - middle)) ** 2 for h, y in zip(hours, logs, strict=True))
    first = min(point.hours_h for point in points)
    covered = hours[-1] if first <= BURN_IN_H else hours[-1] - first
    return Fit(
        alpha_per_h=-slope,
        log_initial=level - slope * middle,
        scatter=math.sqrt(rest / (count - 2)),
        middle_h=middle,
        spread_h2=spread,
        used=count,
        left_out=len(points) - count,
        basis=_basis(used, covered),
        first_h=hours[0],
        tested_h=hours[-1],
        covered_h=covered,
        multiple=permitted_multiple(light_sources),
    )


def _basis(used: Sequence[Point], covered_h: float) -> Basis:
    if len(used) < FEW:
        return "few"
    is_long = covered_h >= STANDARD_TEST_H and used[0].hours_h >= BURN_IN_H
    return "standard" if is_long and len(used) >= STANDARD_READINGS else "below_standard"
