"""How often washed parts are rejected, by the saturation of the bath they came from.

This is what should set a room's limit: its own rejects, not a borrowed number.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from app.domain.errors import FieldError

BAND_PERCENT = 2.0
FEWEST_WASHES = 30
FEWEST_REJECTS = 5
# Of a false rise at one look, where the rate is the same at all saturations; looked at each week of
# a year, fewer than one room in twenty sees one (tests/domain/baths/test_rejects.py).
FALSE_RISE_CHANCE = 0.005
Z_90 = 1.6448536269514722  # two-sided 90 % of the normal distribution

Verdict = Literal["too_few", "no_rise", "rise"]


@dataclass(frozen=True)
class Band:
    """Washes and rejects in one band of saturation.

    Attributes:
        low_percent, high_percent: its edges, mass percent.
        rate: rejects per wash; None without washes.
        low_rate, high_rate: 90 % Wilson interval of the rate.
    """

    low_percent: float
    high_percent: float
    washes: int
    rejects: int
    rate: float | None
    low_rate: float
    high_rate: float


@dataclass(frozen=True)
class RejectRate:
    """The room's reject rate by saturation, and what can honestly be said of it.

    Attributes:
        rises_at_percent: lower edge of the bands that together have a higher rate than all cleaner
            ones together; None while that may be chance.
    """

    bands: tuple[Band, ...]
    washes: int
    rejects: int
    verdict: Verdict
    rises_at_percent: float | None


def reject_rate(
    washes: Mapping[int, int], rejects: Mapping[int, int], band_percent: float = BAND_PERCENT
) -> RejectRate:
    """The reject rate from counts by number of band, band 0 starting at 0 %.

    A reject without a logged wash in its band counts as if its wash had been logged.
    """
    highest = max((*washes, *rejects), default=-1)
    bands = tuple(
        _band(index, washes.get(index, 0), rejects.get(index, 0), band_percent)
        for index in range(highest + 1)
    )
    all_washes = sum(band.washes for band in bands)
    all_rejects = sum(band.rejects for band in bands)
    rises_at = _rise(bands)
    if all_washes < FEWEST_WASHES or all_rejects < FEWEST_REJECTS:
        verdict: Verdict = "too_few"
    else:
        verdict = "rise" if rises_at is not None else "no_rise"
    return RejectRate(
        bands, all_washes, all_rejects, verdict, rises_at if verdict == "rise" else None
    )


def wilson_interval(successes: int, trials: int, z: float = Z_90) -> tuple[float, float]:
    """Interval of a proportion.

    Centre (k + z²/2)/(n + z²), half width z/(n + z²) · sqrt(k(n − k)/n + z²/4); Wilson, Probable
    inference, the law of succession, and statistical inference, J. Am. Stat. Assoc. 22 (1927) 209.

    Raises:
        FieldError: not 0 <= successes <= trials.

    >>> [round(end, 4) for end in wilson_interval(0, 10)]
    [0.0, 0.2129]
    """
    if not 0 <= successes <= trials:
        raise FieldError("successes", "There cannot be more successes than trials.")
    if trials == 0:
        return 0.0, 1.0
    spread = successes * (trials - successes) / trials + z * z / 4
    centre = (successes + z * z / 2) / (trials + z * z)
    half = z * math.sqrt(spread) / (trials + z * z)
    return max(0.0, centre - half), min(1.0, centre + half)


def _band(index: int, washes: int, rejects: int, band_percent: float) -> Band:
    washes = max(washes, rejects)
    low, high = wilson_interval(rejects, washes)
    rate = rejects / washes if washes else None
    edges = (index * band_percent, (index + 1) * band_percent)
    return Band(*edges, washes, rejects, rate, low, high)


def _rise(bands: tuple[Band, ...]) -> float | None:
    """Where the rate rises: the cut between cleaner and fuller bands that chance explains least.

    Fisher's exact test at each cut, one-sided; the cuts that are tried share the chance of a false
    rise (Bonferroni), so that it stays below `FALSE_RISE_CHANCE` whatever the rate. Fisher, J. R.
    Stat. Soc. 85 (1922) 87.
    """
    washes, rejects = sum(band.washes for band in bands), sum(band.rejects for band in bands)
    cuts: list[tuple[float, float]] = []
    below, below_rejects = 0, 0
    for band in bands:
        if below >= FEWEST_WASHES and washes > below:
            chance = fisher_chance(rejects - below_rejects, washes - below, rejects, washes)
            cuts.append((chance, band.low_percent))
        below, below_rejects = below + band.washes, below_rejects + band.rejects
    if not cuts or min(cuts)[0] * len(cuts) >= FALSE_RISE_CHANCE:
        return None
    return min(cuts)[1]


def fisher_chance(above_rejects: int, above: int, rejects: int, washes: int) -> float:
    """Chance of so many rejects or more among `above` of the washes, were any as likely a reject.

    The upper tail of the hypergeometric distribution.

    >>> round(fisher_chance(1, 12, 1, 212), 4)
    0.0566
    """
    whole = _ln_choose(washes, rejects)
    return min(1.0, sum(
        math.exp(_ln_choose(above, k) + _ln_choose(washes - above, rejects - k) - whole)
        for k in range(above_rejects, min(rejects, above) + 1)
        if rejects - k <= washes - above
    ))  # fmt: skip


def _ln_choose(n: int, k: int) -> float:
    return math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
