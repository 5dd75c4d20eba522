"""The limit that a room's own rejects and money ask for.

A higher limit saves solvent, a fuller bath may cost rejects. How likely a reject is at a saturation
is not known but from the room's own washes: a rate that is the same everywhere, or one that rises
from some saturation on, never falls. All such curves are weighed by how well they explain the
washes and rejects of each band (Bayes, on a grid), and a limit is only named where nearly all of
the weight says that it saves.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.rejects import FEWEST_WASHES, wilson_interval

Array = NDArray[np.float64]

CURVE_BAND_PERCENT = 1.0
# What rooms may be like before their washes are looked at; common practice, no source.
USUAL_RATE, RATE_LN_SD = 0.02, 1.5
RISE_CHANCE = 0.5
RISE_SD = 0.6  # of the log-odds with each mass percent, half a normal distribution
SURE = 0.9
LITTLE_SHARE = 0.01  # of a year's cost: what is less is no reason to change
LEAST_LIMIT_SHARE, STOP_SHARE = 0.5, 0.95
FEWEST_IN_BAND = FEWEST_WASHES
STEP_PERCENT = 0.1
MORE = (1.25, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0)
TRIAL_PERCENT = 1.0
MOST_TRIAL_WASHES = 2000

USUAL: Final = math.log(USUAL_RATE / (1 - USUAL_RATE))
BASES = 81
SLOPES: Final = RISE_SD * (np.arange(16) + 0.5) / 16 * 3

Verdict = Literal["change", "keep", "cannot_tell"]


@dataclass(frozen=True)
class Curves:
    """All curves that are looked at, and how much each weighs.

    The odds of a reject are `exp(base + slope * max(saturation - from_percent, 0))`.

    Attributes:
        base, slope, from_percent: a value a curve. weight: of each; they add up to one.
    """

    base: Array
    slope: Array
    from_percent: Array
    weight: Array

    def rate(self, percent: float) -> Array:
        """Rejects per wash of each curve at a saturation."""
        odds = self.base + self.slope * np.maximum(percent - self.from_percent, 0.0)
        found: Array = 1 / (1 + np.exp(-odds))
        return found

    @property
    def rise_chance(self) -> float:
        """That the rate rises at all."""
        return float(self.weight[self.slope > 0].sum())

    def mean_upto(self, top_percent: float) -> Array:
        """Rejects per wash of each curve over a fill that is washed in evenly up to a limit: a
        row for each tenth of a percent up to the top."""
        count = round(top_percent / STEP_PERCENT)
        rates = [self.rate((step + 0.5) * STEP_PERCENT) for step in range(count)]
        found: Array = np.cumsum(rates, axis=0) / np.arange(1, count + 1)[:, None]
        return found


def curves(
    washes: Mapping[int, float],
    rejects: Mapping[int, float],
    band_percent: float = CURVE_BAND_PERCENT,
) -> Curves:
    """The curves, weighed by washes and rejects by number of band; binomial in each band, at its
    middle. A reject without a logged wash in its band counts as if its wash had been logged."""
    bands = sorted({*washes, *rejects})
    starts = band_percent * np.arange(max(max(bands, default=0), 1) + 1)
    bases = _bases(sum(washes.values()), sum(rejects.values()))
    rising = np.array([(a, s, t) for a in bases for s in SLOPES for t in starts])
    flat = np.array([(a, 0.0, 0.0) for a in bases])
    base, slope, start = np.concatenate([flat, rising]).T
    found = Curves(base, slope, start, np.ones_like(base))
    ln_weight = _ln_prior(found, len(starts))
    for band in bands:
        rate = found.rate((band + 0.5) * band_percent)
        bad = rejects.get(band, 0.0)
        good = max(washes.get(band, 0.0) - bad, 0.0)
        ln_weight += bad * np.log(rate) + good * np.log1p(-rate)
    weight = np.exp(ln_weight - ln_weight.max())
    return Curves(base, slope, start, weight / weight.sum())


def _bases(washes: float, rejects: float) -> Array:
    """The log-odds of clean baths that are looked at: around those of all washes together, wide
    while rejects are few; further down, since rejects of fuller baths lie in the mean too."""
    mean = (rejects + 0.5) / (washes + 1)
    middle = math.log(mean / (1 - mean)) if rejects else min(math.log(mean / (1 - mean)), USUAL)
    wide = 3.5 * RATE_LN_SD / (1 + rejects / 3)
    return np.linspace(middle - max(3.0, wide), middle + max(1.5, wide), BASES)


def _ln_prior(found: Curves, starts: int) -> Array:
    """Of each curve: a usual rate, and either no rise or one from anywhere."""
    usual = (found.base - USUAL) / RATE_LN_SD
    of_slopes = np.exp(-((SLOPES / RISE_SD) ** 2) / 2)
    ln_rising = -((found.slope / RISE_SD) ** 2) / 2 - math.log(of_slopes.sum() * starts)
    is_flat = found.slope == 0
    ln_kind = np.where(is_flat, math.log(1 - RISE_CHANCE), math.log(RISE_CHANCE) + ln_rising)
    found_prior: Array = ln_kind - usual**2 / 2
    return found_prior


@dataclass(frozen=True)
class Economy:
    """What a year costs under another limit. Money in the smallest unit of the currency.

    Attributes:
        limit_percent: the limit now.
        year_cents: what the year costs that hangs on the limit or not, rejects left out.
        at_low_percent, low_cents: a lower limit, and what the year costs there.
        washes: in a year, in the baths of this limit.
        reject_cents: what a reject costs.
        stop_percent: where washing stops. trial_stop_percent: in the bath that a trial would be
            done in.
    """

    limit_percent: float
    year_cents: float
    at_low_percent: float
    low_cents: float
    washes: float
    reject_cents: float
    stop_percent: float
    trial_stop_percent: float = 0.0

    def bath_cents(self, limit_percent: float) -> float:
        """A year's cost without rejects: swaps are as frequent as the limit is low."""
        gap = 1 / self.at_low_percent - 1 / self.limit_percent
        per_swap = (self.low_cents - self.year_cents) / gap
        return self.year_cents + per_swap * (1 / limit_percent - 1 / self.limit_percent)

    def cents(self, known: Curves, limits_percent: Sequence[float]) -> dict[float, Array]:
        """A year's cost of each limit, rejects included, under each curve."""
        rates = known.mean_upto(max(limits_percent))
        bad = self.washes * self.reject_cents
        return {
            limit: self.bath_cents(limit) + bad * rates[round(limit / STEP_PERCENT) - 1]
            for limit in limits_percent
        }


@dataclass(frozen=True)
class Trial:
    """A bath let run on to find out: to which saturation, and for how many washes there."""

    until_percent: float
    washes: int


@dataclass(frozen=True)
class Advice:
    """What the room's rejects and money say of its limit.

    Attributes:
        limit_percent: the limit now. best_percent: the one that costs least as far as is known.
        saves_cents: what it saves in a year; low and high hold it with 80 %.
        chance: that it saves anything.
        more_rejects: about how many more would tell, None where no number that was tried does.
        rise_chance: that rejects rise with the saturation at all.
        trial: what would tell whether a higher limit does, None where safety or money forbid it.
    """

    verdict: Verdict
    limit_percent: float
    best_percent: float
    saves_cents: float
    low_cents: float
    high_cents: float
    chance: float
    washes: float
    rejects: float
    rise_chance: float
    more_rejects: int | None = None
    trial: Trial | None = None


def advise(washes: Mapping[int, float], rejects: Mapping[int, float], economy: Economy) -> Advice:
    """What the washes and rejects of these baths say of their limit."""
    found = _advice(washes, rejects, economy)
    trial = None
    if found.verdict != "change" and found.best_percent >= economy.limit_percent:
        trial = trial_of(washes, rejects, economy)
    if found.verdict != "cannot_tell":
        return replace(found, trial=trial)
    more, seen = None, found.rejects
    for times in MORE if seen else ():
        more_washes, more_bad = (
            {band: times * count for band, count in some.items()} for some in (washes, rejects)
        )
        if _advice(more_washes, more_bad, economy).verdict != "cannot_tell":
            more = max(1, round((times - 1) * seen))
            break
    return replace(found, more_rejects=more, trial=trial)


def _advice(washes: Mapping[int, float], rejects: Mapping[int, float], economy: Economy) -> Advice:
    known = curves(washes, rejects)
    candidates = limits(washes, economy)
    costs = economy.cents(known, [*candidates, economy.limit_percent])
    saves = {limit: costs[economy.limit_percent] - costs[limit] for limit in candidates}
    mean = {limit: float(known.weight @ one) for limit, one in saves.items()}
    best = max(mean, key=lambda limit: mean[limit], default=economy.limit_percent)
    little = LITTLE_SHARE * economy.year_cents
    chance, spread = 0.0, (0.0, 0.0)
    if best != economy.limit_percent and mean:
        chance = float(known.weight[saves[best] > 0].sum())
        spread = _spread(saves[best], known.weight)
    if mean and mean[best] >= little and chance >= SURE:
        verdict: Verdict = "change"
    elif mean and all(
        float(known.weight[one > little].sum()) <= 1 - SURE for one in saves.values()
    ):
        verdict = "keep"
    else:
        verdict = "cannot_tell"
    return Advice(
        verdict, economy.limit_percent, best, mean.get(best, 0.0), *spread, chance,
        float(sum(washes.values())), float(sum(rejects.values())), known.rise_chance,
    )  # fmt: skip


def limits(washes: Mapping[int, float], economy: Economy) -> list[float]:
    """The limits that may be named: not past where washing stops, nor where hardly was washed."""
    washed = [band for band, count in washes.items() if count >= FEWEST_IN_BAND]
    washed_at = (max(washed, default=-1) + 1) * CURVE_BAND_PERCENT
    top = min(washed_at, STOP_SHARE * economy.stop_percent)
    first = math.ceil(LEAST_LIMIT_SHARE * economy.limit_percent / STEP_PERCENT)
    last = math.floor(top / STEP_PERCENT + 1e-9)
    return [round(step * STEP_PERCENT, 1) for step in range(first, last + 1)]


def trial_of(
    washes: Mapping[int, float], rejects: Mapping[int, float], economy: Economy
) -> Trial | None:
    """How far one bath is let run past its limit to find out whether more rejects come there.

    As many washes as it takes for the 90 % interval of a rate no higher than now to lie below the
    rate at which the higher limit would cost what it saves. None where washing would have to stop.
    """
    until = economy.limit_percent + TRIAL_PERCENT
    if until > STOP_SHARE * economy.trial_stop_percent or economy.reject_cents <= 0:
        return None
    seen, bad = sum(washes.values()), sum(rejects.values())
    usual = bad / seen if seen else USUAL_RATE
    saved = economy.bath_cents(economy.limit_percent) - economy.bath_cents(until)
    there = economy.washes * TRIAL_PERCENT / until  # of a year's washes, in the new stretch
    if saved <= 0 or there <= 0:
        return None
    even_rate = usual + saved / (economy.reject_cents * there)
    for count in range(FEWEST_WASHES, MOST_TRIAL_WASHES, 5):
        if wilson_interval(round(usual * count), count)[1] < even_rate:
            return Trial(round(until, 1), count)
    return None


def _spread(values: Array, weight: Array) -> tuple[float, float]:
    order = np.argsort(values, kind="stable")
    below = weight[order].cumsum()
    low, high = (
        float(values[order][min(int((below < level).sum()), len(values) - 1)])
        for level in (0.1, 0.9)
    )
    return low, high
