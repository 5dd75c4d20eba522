"""What a reading says: it is right, it is a slip of the pen, or something was not logged: washes,
a swap, a top-up."""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator import bending
from app.domain.baths.estimator.bath import (
    DIRTY_FILL,
    NEVER,
    RESIN,
    SOLVENT,
    SWAP,
    TOP_UP,
    WATER,
    Bath,
    symmetric,
)
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import CARRY_IN, HYDROMETER, SUSPENDED, Array, Shared

MOST_PERCENT = 95.0
MOST_JUMP = 0.9
LEAST_RIGHT = 0.05
MOST_LN_HAZARD = 3.0
LEAST_SOLVENT_G = 1.0
MOST_TURNS = 6  # of drawing a line anew
UNSETTLED_LN = 0.1
FORETOLD_SD = (3.0, 6.0)  # below and above: the carry-in is lognormal, so more lies above
LN_2PI = math.log(2 * math.pi)
Channel = str  # "residue", "hydrometer", "sensor" or "index"


@dataclass(frozen=True, slots=True)
class Sighting:
    """A reading as the filter sees it.

    Attributes:
        percent: resin in mass percent, as the instrument shows it.
        sd_percent: scatter of the channel.
        bias_row: the state's row of the channel's bias, None where it has none.
        shared_column: of the bias that the room's baths share, None where it has none.
        water_gain: rise of `percent` with each mass percent of water in the solvent.
        filler_gain: share by which `percent` rises with how far filler shows in the density;
            `suspended` is how far it was taken to show.
        slip_chance: before the reading is looked at; `slip_density` of its figure if it is one, per
            mass percent.
        silence_chance: under each hypothesis, that washes were not logged because the log is
            silent on days with usual work.
        wet_chance, off_chance: that the solvent is wetter, or the instrument further off, than
            usual.
        unexplained_chance: of which a share is right though nothing that the log tells explains it.
        jump_percent: what washes that nobody logged would have added, mass percent.
        is_first: of its fill; what it shows above the estimate was in the fill, not washed in.
        swapped: what the bath would be after a swap that nobody logged.
        full_solvent_g: solvent of the bath filled to the mark, under each hypothesis.
        day: days since 1970.
    """

    percent: float
    sd_percent: float
    bias_row: int | None
    shared_column: int | None
    water_gain: float
    filler_gain: float
    suspended: float
    slip_chance: float
    slip_density: float
    silence_chance: Array
    wet_chance: float
    off_chance: float
    unexplained_chance: float
    jump_percent: float
    is_first: bool
    swapped: "Swapped"
    full_solvent_g: Array
    day: float


@dataclass(frozen=True, slots=True)
class Swapped:
    """A swap that nobody logged, at some time since the last reading.

    Attributes:
        chance_per_day: with the limit in view.
        fill_g: solvent of a fresh fill.
        load_g: resin that logged washes brought in since the reading before the last one, which may
            have been too rough to show the swap: some share of it, even over none to all, came
            after.
    """

    chance_per_day: float
    fill_g: float
    load_g: float


def saturation_percent(mean: Array) -> Array:
    """Saturation of each row of means, held between 0 and 95 mass percent."""
    liquid_g = np.maximum(mean[:, RESIN] + mean[:, SOLVENT], LEAST_SOLVENT_G)
    return np.clip(100 * mean[:, RESIN] / liquid_g, 0.0, MOST_PERCENT)


def saturation_slope(mean: Array) -> Array:
    """Change of the saturation with the state at each row of means, mass percent per gram."""
    slope = np.zeros_like(mean)
    liquid_g = np.maximum(mean[:, RESIN] + mean[:, SOLVENT], LEAST_SOLVENT_G)
    slope[:, RESIN] = 100 * mean[:, SOLVENT] / liquid_g**2
    slope[:, SOLVENT] = -100 * mean[:, RESIN] / liquid_g**2
    return slope


@dataclass(slots=True)
class _Branches:
    """Hypotheses in one stack: every array's first axis runs over them."""

    offset: Array
    slope: Array
    spread: Array
    mean: Array
    covariance: Array
    ln_weight: Array
    is_slip: Array
    jumped_on: Array
    missing_from: Array
    found_on: Array
    read_on: Array

    def take(self, which: NDArray[np.intp]) -> "_Branches":
        return _Branches(*(getattr(self, name)[which] for name in self.__slots__))

    def joined(self, others: list["_Branches"]) -> "_Branches":
        parts = [self, *others]
        return _Branches(
            *(np.concatenate([getattr(part, name) for part in parts]) for name in self.__slots__)
        )


def read(bath: Bath, shared: Shared, sighting: Sighting, settings: Settings) -> None:
    """Take a reading in: split the hypotheses, weigh them, keep the heaviest, and let the shared
    quantities become what they say on average."""
    before = _branches(bath, shared)
    branches = before
    if settings.is_mixture:
        branches = _explained(before, sighting, settings)
    else:
        branches = _updated(before, sighting, np.zeros(1))
    _adopt(bath, shared, branches)


def _explained(before: _Branches, sighting: Sighting, settings: Settings) -> _Branches:
    """Every hypothesis under every explanation of the reading, the heaviest kept."""
    jump = _jump_chance(before, sighting, settings)
    days = np.maximum(sighting.day - before.read_on, settings.least_jump_days)
    swap = np.minimum(sighting.swapped.chance_per_day * days, settings.most_swap_chance)
    full = _topped_up(before, sighting, settings)
    top_up = np.zeros_like(jump)
    if full is not None:
        top_up = _top_up_chance(before, sighting, days, settings)
    other = sighting.slip_chance + sighting.wet_chance + sighting.off_chance
    right = np.maximum(1 - other - jump - swap - top_up, LEAST_RIGHT)
    others = [
        _slipped(before, sighting),
        _updated(_jumped(before, sighting), sighting, np.log(jump)),
        _updated(_swapped(before, sighting, settings), sighting, np.log(swap)),
    ]
    if full is not None:
        others.append(_updated(full, sighting, np.log(top_up)))
    if sighting.wet_chance > 0:
        ln_chance = np.full_like(jump, math.log(sighting.wet_chance))
        others.append(_updated(_wet(before, settings), sighting, ln_chance))
    if sighting.off_chance > 0:
        ln_chance = np.full_like(jump, math.log(sighting.off_chance))
        others.append(_updated(_off(before, settings), sighting, ln_chance))
    if sighting.unexplained_chance > 0:
        others.append(_unexplained(before, sighting, settings))
    usual = _updated(before, sighting, np.log(right))
    return _heaviest(usual.joined(others), settings)


def _top_up_chance(before: _Branches, sighting: Sighting, days: Array, settings: Settings) -> Array:
    """How likely a top-up was not logged: the likelier, the lower the level would be without."""
    mean = before.offset + (before.slope @ before.mean[:, :, None])[:, :, 0]
    missing = 1 - mean[:, SOLVENT] / np.maximum(sighting.full_solvent_g, LEAST_SOLVENT_G)
    low = (missing - settings.top_up_usual_share) / settings.top_up_share_sd
    hazard: Array = settings.top_up_chance_per_day * np.exp(np.clip(low, 0.0, MOST_LN_HAZARD))
    return np.minimum(
        hazard * days,
        np.where(low > 0, settings.most_top_up_chance_low, settings.most_top_up_chance),
    )


def _jump_chance(before: _Branches, sighting: Sighting, settings: Settings) -> Array:
    """How likely washes were not logged, by the time since a reading that was no slip."""
    days = np.maximum(sighting.day - before.read_on, settings.least_jump_days)
    chance = np.minimum(settings.jump_chance_per_day * days, settings.most_jump_chance)
    if sighting.is_first:
        chance = chance + settings.dirty_fill_chance
    either: Array = np.minimum(chance + sighting.silence_chance, MOST_JUMP)
    return either


def _branches(bath: Bath, shared: Shared) -> _Branches:
    joint = bath.joint(shared)
    return _Branches(
        offset=bath.offset,
        slope=bath.slope,
        spread=bath.spread,
        mean=joint.mean,
        covariance=joint.covariance,
        ln_weight=np.log(np.maximum(joint.weight, 1e-300)),
        is_slip=np.zeros_like(bath.is_slip),
        jumped_on=bath.jumped_on,
        missing_from=bath.missing_from,
        found_on=bath.found_on,
        read_on=bath.read_on,
    )


def _slipped(before: _Branches, sighting: Sighting) -> _Branches:
    ln_chance = math.log(sighting.slip_chance * sighting.slip_density)
    count = len(before.ln_weight)
    every = before.take(np.arange(count))
    every.ln_weight = before.ln_weight + ln_chance
    every.is_slip = np.ones(count)
    return every


def _jumped(before: _Branches, sighting: Sighting) -> _Branches:
    """Resin came in that nobody logged, as much as it is unsure."""
    every = before.take(np.arange(len(before.ln_weight)))
    mean = every.offset + (every.slope @ every.mean[:, :, None])[:, :, 0]
    jump_g = sighting.jump_percent / 100 * mean[:, :2].sum(1)
    every.offset[:, RESIN] += jump_g
    every.spread[:, RESIN, RESIN] += jump_g**2
    if sighting.is_first:
        every.found_on[:, DIRTY_FILL] = sighting.day
        return every
    every.jumped_on = np.full_like(every.jumped_on, sighting.day)
    every.missing_from = every.read_on
    return every


def _swapped(before: _Branches, sighting: Sighting, settings: Settings) -> _Branches:
    """The bath was changed and nobody logged it: a fresh fill, its heel, and some of the washes."""
    every = before.take(np.arange(len(before.ln_weight)))
    mean = every.offset + (every.slope @ every.mean[:, :, None])[:, :, 0]
    swapped = sighting.swapped
    half_g = swapped.load_g / 2
    resin_g = settings.heel * np.maximum(mean[:, RESIN], 0.0) + half_g
    every.slope[:, :2] = 0.0
    every.slope[:, RESIN, CARRY_IN] = half_g
    every.offset[:, RESIN] = resin_g - half_g * every.mean[:, CARRY_IN]
    every.offset[:, SOLVENT] = swapped.fill_g
    for row in (RESIN, SOLVENT, WATER):
        every.spread[:, row] = every.spread[:, :, row] = 0.0
    heel_sd_g = settings.heel_sd * np.maximum(mean[:, RESIN], 0.0)
    every.spread[:, RESIN, RESIN] = heel_sd_g**2 + swapped.load_g**2 / 12
    every.spread[:, SOLVENT, SOLVENT] = (2 * settings.to_mark_noise * swapped.fill_g) ** 2
    every.spread[:, WATER, WATER] = settings.water_sd_percent**2
    every.offset[:, WATER] = 0.0
    every.slope[:, WATER] = 0.0
    every.found_on[:, SWAP] = sighting.day
    every.jumped_on = np.full_like(every.jumped_on, NEVER)
    return every


def _topped_up(before: _Branches, sighting: Sighting, settings: Settings) -> _Branches | None:
    """The bath was filled to the mark and nobody logged it; None where it is full anyhow."""
    mean = before.offset + (before.slope @ before.mean[:, :, None])[:, :, 0]
    added_g = np.maximum(sighting.full_solvent_g - mean[:, SOLVENT], 0.0)
    if added_g.max() < settings.top_up_least_share * sighting.swapped.fill_g:
        return None
    every = before.take(np.arange(len(before.ln_weight)))
    every.slope[:, SOLVENT] = 0.0
    every.offset[:, SOLVENT] = mean[:, SOLVENT] + added_g
    every.spread[:, SOLVENT] = every.spread[:, :, SOLVENT] = 0.0
    every.spread[:, SOLVENT, SOLVENT] = (2 * settings.to_mark_noise * sighting.full_solvent_g) ** 2
    every.found_on[:, TOP_UP] = sighting.day
    return every


def _wet(before: _Branches, settings: Settings) -> _Branches:
    """The fill's solvent holds more water than one that is as its label says."""
    every = before.take(np.arange(len(before.ln_weight)))
    every.spread[:, WATER, WATER] += settings.wet_sd_percent**2
    return every


def _off(before: _Branches, settings: Settings) -> _Branches:
    """The room's hydrometer is off by more than hydrometers are, and always was.

    What a bath holds is known given that error, so that stays as it is.
    """
    every = before.take(np.arange(len(before.ln_weight)))
    every.covariance[:, HYDROMETER, HYDROMETER] += settings.hydrometer_off_sd_percent**2
    return every


def _unexplained(before: _Branches, sighting: Sighting, settings: Settings) -> _Branches:
    """The reading is right and the log cannot tell why: the bath holds what it shows, whatever that
    is, and what came in before tells nothing of the carry-in any more.

    Less than was thought: some of it was changed for fresh solvent. More: resin came in.
    """
    said = _look(before, sighting)[2]
    state = before.offset + (before.slope @ before.mean[:, :, None])[:, :, 0]
    held = saturation_percent(state)
    percent = np.clip(held + sighting.percent - said, 0.0, MOST_PERCENT)
    is_less = percent < held
    every = before.take(np.arange(len(before.ln_weight)))
    ratio = percent / (100 - percent)
    # A gram of resin takes the place of so many of solvent in a bath filled to the mark.
    resin_g = np.maximum(state[:, RESIN], LEAST_SOLVENT_G)
    in_place_of_g = (sighting.swapped.fill_g - sighting.full_solvent_g) / resin_g
    full_g = sighting.swapped.fill_g / (1 + ratio * np.maximum(in_place_of_g, 0.0))
    solvent_g = np.maximum(np.where(is_less, full_g, state[:, SOLVENT]), LEAST_SOLVENT_G)
    every.offset[:, RESIN] = ratio * solvent_g
    every.offset[:, SOLVENT] = np.where(is_less, solvent_g, before.offset[:, SOLVENT])
    every.slope[:, RESIN] = 0.0
    every.slope[is_less, SOLVENT] = 0.0
    every.spread[:, RESIN] = every.spread[:, :, RESIN] = 0.0
    wide_g = settings.unexplained_sd_percent / 100 * (every.offset[:, RESIN] + solvent_g)
    every.spread[:, RESIN, RESIN] = wide_g**2
    looks, along, said = _look(every, sighting)
    ln_chance = np.zeros_like(before.ln_weight)
    found = _condition(every, sighting, ln_chance, looks, along, sighting.percent - said)
    share = np.where(is_less, settings.unexplained_less_share, settings.unexplained_more_share)
    chance = share * sighting.unexplained_chance / settings.slip_percent_span
    found.ln_weight = before.ln_weight + np.log(chance)
    found.found_on = np.where(
        is_less[:, None] & (np.arange(found.found_on.shape[1]) == SWAP),
        sighting.day, found.found_on,
    )  # fmt: skip
    found.jumped_on = np.where(is_less, NEVER, sighting.day)
    found.missing_from = np.where(is_less, found.missing_from, before.read_on)
    return found


def foretold(bath: Bath, shared: Shared, sighting: Sighting) -> tuple[float, float]:
    """Mean of what the instrument would show, and its variance but for the reading's own noise.

    Mass percent, over all hypotheses as they stand before the reading.
    """
    before = _branches(bath, shared)
    looks, along, said = _look(before, sighting)
    own = ((before.spread @ looks[:, :, None])[:, :, 0] * looks).sum(1)
    own = own + ((before.covariance @ along[:, :, None])[:, :, 0] * along).sum(1)
    weight = np.exp(before.ln_weight)
    mean = float(weight @ said)
    return mean, float(weight @ (own + (said - mean) ** 2))


def _updated(before: _Branches, sighting: Sighting, ln_chance: Array) -> _Branches:
    """The extended Kalman update of each hypothesis, and how well it foretold the reading."""
    looks, along, said = _look(before, sighting)
    after = _condition(before, sighting, ln_chance, looks, along, sighting.percent - said)
    if not bending.far(before.mean, after.mean).any():
        return after
    near = _is_foretold(before, sighting, looks, along, sighting.percent - said)
    return _updated_anew(before, sighting, ln_chance, after, near) if near.any() else after


def _updated_anew(
    before: _Branches, sighting: Sighting, ln_chance: Array, after: _Branches,
    near: NDArray[np.bool_],
) -> _Branches:  # fmt: skip
    """The iterated update: the line of the carried-in resin is drawn anew where the reading moves
    the carry-in to, for the hypotheses `near` that foretold it and do settle."""
    turned = before.mean
    for turn in range(MOST_TURNS + 1):
        if turn == MOST_TURNS:
            near = near & ~bending.far(turned, after.mean, UNSETTLED_LN)
            turned = np.where(near[:, None], turned, before.mean)
        elif bending.far(turned, after.mean)[near].any():
            turned = np.where(near[:, None], after.mean, before.mean)
        else:
            break
        offset, slope = bending.drawn_anew(before.offset, before.slope, before.mean, turned)
        there = replace(before, offset=offset, slope=slope)
        looks, along, said = _look(replace(there, mean=turned), sighting)
        said = said + (along * (before.mean - turned)).sum(1)
        after = _condition(there, sighting, ln_chance, looks, along, sighting.percent - said)
    return after


def _is_foretold(
    before: _Branches, sighting: Sighting, looks: Array, along: Array, missed: Array
) -> NDArray[np.bool_]:
    """Under which hypotheses a reading lies where it may: another carry-in explains no other."""
    variance = ((before.spread @ looks[:, :, None])[:, :, 0] * looks).sum(1)
    variance = variance + ((before.covariance @ along[:, :, None])[:, :, 0] * along).sum(1)
    sd = np.sqrt(variance + sighting.sd_percent**2)
    is_foretold: NDArray[np.bool_] = (-FORETOLD_SD[0] * sd < missed) & (
        missed < FORETOLD_SD[1] * sd
    )
    return is_foretold


def _look(before: _Branches, sighting: Sighting) -> tuple[Array, Array, Array]:
    """How the figure changes with the bath and with what is shared, and what it would be."""
    state = before.offset + (before.slope @ before.mean[:, :, None])[:, :, 0]
    looks = saturation_slope(state)
    shown = saturation_percent(state)
    by_filler = sighting.filler_gain * shown
    if sighting.filler_gain:
        rise = 1 + sighting.filler_gain * (before.mean[:, SUSPENDED] - sighting.suspended)
        looks, shown = looks * rise[:, None], shown * rise
    along = (looks[:, None, :] @ before.slope)[:, 0, :]
    along[:, SUSPENDED] += by_filler
    if sighting.bias_row is not None:
        looks[:, sighting.bias_row] = 1.0
        shown = shown + state[:, sighting.bias_row]
        along = along + before.slope[:, sighting.bias_row]
    if sighting.water_gain:
        looks[:, WATER] = sighting.water_gain
        shown = shown + sighting.water_gain * state[:, WATER]
        along = along + sighting.water_gain * before.slope[:, WATER]
    if sighting.shared_column is not None:
        along[:, sighting.shared_column] += 1.0
        shown = shown + before.mean[:, sighting.shared_column]
    return looks, along, shown


def _condition(
    before: _Branches,
    sighting: Sighting,
    ln_chance: Array,
    looks: Array,
    along: Array,
    missed: Array,
) -> _Branches:
    """Condition on a linear sighting: `looks` on the bath, `along` on the shared quantities."""
    seen = (before.spread @ looks[:, :, None])[:, :, 0]
    own = (seen * looks).sum(1) + sighting.sd_percent**2
    shift = (before.covariance @ along[:, :, None])[:, :, 0]
    total = own + (shift * along).sum(1)
    reach = missed + (along * before.mean).sum(1)
    gain = seen / own[:, None]
    shared_gain = shift / total[:, None]
    return _Branches(
        offset=before.offset + gain * reach[:, None],
        slope=before.slope - gain[:, :, None] * along[:, None, :],
        spread=before.spread - gain[:, :, None] * seen[:, None, :],
        mean=before.mean + shared_gain * missed[:, None],
        covariance=before.covariance - shared_gain[:, :, None] * shift[:, None, :],
        ln_weight=before.ln_weight + ln_chance - (missed**2 / total + np.log(total) + LN_2PI) / 2,
        is_slip=before.is_slip,
        jumped_on=before.jumped_on,
        missing_from=before.missing_from,
        found_on=before.found_on,
        read_on=np.full_like(before.read_on, sighting.day),
    )


def _heaviest(branches: _Branches, settings: Settings) -> _Branches:
    """The few that carry nearly all the weight, heaviest first; twins fold into one."""
    order = np.argsort(-branches.ln_weight, kind="stable")[: 2 * settings.components]
    weight = np.exp(branches.ln_weight[order] - branches.ln_weight[order[0]])
    weight /= weight.sum()
    heavy = weight > settings.least_weight
    kept = branches.take(order[heavy])
    twin_of = _twins(kept, settings.twin_sd)
    folded = np.bincount(twin_of, weights=weight[heavy], minlength=len(twin_of))
    alone = np.flatnonzero(folded)[: settings.components]
    found = kept.take(alone)
    found.ln_weight = np.log(folded[alone])
    return found


def _twins(branches: _Branches, near_sd: float) -> NDArray[np.intp]:
    """For each hypothesis the first one before it, or itself, that says the same but for how it
    came about: resin and carry-in within `near_sd` deviations, spreads alike."""
    state = branches.offset + (branches.slope @ branches.mean[:, :, None])[:, :, 0]
    along = branches.slope[:, RESIN]
    own = ((branches.covariance @ along[:, :, None])[:, :, 0] * along).sum(1)
    columns = [CARRY_IN, HYDROMETER]
    place = np.column_stack([state[:, [RESIN, WATER]], branches.mean[:, columns]])
    variance = np.column_stack([
        branches.spread[:, RESIN, RESIN] + own, branches.spread[:, WATER, WATER],
        branches.covariance[:, columns, columns],
    ])  # fmt: skip
    sd = np.sqrt(variance.clip(1e-12))
    is_near = np.abs(place[:, None] - place[None]) <= near_sd * np.minimum(sd[:, None], sd[None])
    is_wide = np.abs(np.log(sd[:, None] / sd[None])) <= near_sd
    marks = np.column_stack([branches.is_slip, branches.jumped_on, branches.found_on])
    is_alike = (marks[:, None] == marks[None]).all(2)
    twins: NDArray[np.intp] = np.argmax(is_near.all(2) & is_wide.all(2) & is_alike, axis=1)
    return twins


def _adopt(bath: Bath, shared: Shared, branches: _Branches) -> None:
    weight = np.exp(branches.ln_weight - branches.ln_weight.max())
    weight = weight / weight.sum()
    _hold_masses_positive(branches)
    bath.offset, bath.slope = branches.offset, branches.slope
    bath.spread = symmetric(branches.spread)
    bath.is_slip, bath.jumped_on = branches.is_slip, branches.jumped_on
    bath.missing_from, bath.found_on = branches.missing_from, branches.found_on
    bath.read_on = branches.read_on
    shared.match(branches.mean, branches.covariance, weight)
    bath.rest_on(shared, branches.mean, branches.covariance, weight)


def _hold_masses_positive(branches: _Branches) -> None:
    """A reading below nothing, or far above, leaves no negative mass behind."""
    state = branches.offset + (branches.slope @ branches.mean[:, :, None])[:, :, 0]
    branches.offset[:, RESIN] += np.maximum(-state[:, RESIN], 0.0)
    branches.offset[:, SOLVENT] += np.maximum(LEAST_SOLVENT_G - state[:, SOLVENT], 0.0)
