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
        rises_at_percent: lower edge of the first band whose rate is surely above that of all
            cleaner bands together; None while none is.
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
    washes = rejects = 0
    for band in bands:
        _, cleaner_high = wilson_interval(rejects, washes)
        if washes >= FEWEST_WASHES and band.low_rate > cleaner_high:
            return band.low_percent
        washes, rejects = washes + band.washes, rejects + band.rejects
    return None
