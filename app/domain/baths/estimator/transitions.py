"""How a bath changes with time, washes, top-ups, removals and swaps."""

import math
from dataclasses import dataclass

import numpy as np

from app.domain.baths.estimator.bath import (
    EVAPORATION,
    HYDROMETER_BIAS,
    NEVER,
    PAIR,
    RESIN,
    SENSOR_BIAS,
    SOLVENT,
    WATER,
    Bath,
    Joint,
    symmetric,
)
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import FILM, Array

MOST_REMOVED = 0.98
LEAST_L = 0.001  # a bath is never nothing at all: what clings to an empty tank


@dataclass(frozen=True, slots=True)
class Liquid:
    """What a bath's liquid is made of, and the mass of a fresh fill."""

    fill_g: float
    solvent_density_g_ml: float
    resin_density_g_ml: float

    @property
    def volume_weights(self) -> Array:
        """Litres in a gram of resin and of solvent."""
        return np.array([0.001 / self.resin_density_g_ml, 0.001 / self.solvent_density_g_ml])


@dataclass(frozen=True, slots=True)
class Load:
    """A wash as the filter sees it.

    Attributes:
        ln_size: logarithm of what was logged, or under each hypothesis was meant: cm2, grams or
            parts.
        direction: which shared quantities the carried-in mass depends on (each by its exponent).
        ln_sd: scatter of the carried-in mass.
        surface_column: shared quantity that turns the size into cm2; None where cm2 were logged.
    """

    ln_size: float | Array
    direction: Array
    ln_sd: float
    surface_column: int | None


def pass_time(bath: Bath, joint: Joint, day: float, fill_g: float, settings: Settings) -> float:
    """Solvent evaporates and the instruments' biases wander until `day`; grams evaporated."""
    days = day - bath.day
    if days <= 0:
        return 0.0
    bath.day = day
    lost_g = _evaporate(bath, joint, days, fill_g, settings)
    keep = math.exp(-days / settings.hydrometer_bias_days)
    scale(bath, slice(HYDROMETER_BIAS, HYDROMETER_BIAS + 1), keep)
    variance = settings.hydrometer_bias_sd_percent**2 * (1 - keep * keep)
    bath.spread[:, HYDROMETER_BIAS, HYDROMETER_BIAS] += variance
    bath.spread[:, SENSOR_BIAS, SENSOR_BIAS] += settings.sensor_walk_percent**2 * days
    bath.spread[:, WATER, WATER] += settings.water_walk_percent**2 * days
    return lost_g


def _evaporate(bath: Bath, joint: Joint, days: float, fill_g: float, settings: Settings) -> float:
    mean = bath.means(joint)
    free_g = np.exp(mean[:, EVAPORATION]) * (fill_g * days)
    most_g = settings.most_evaporated * mean[:, SOLVENT]
    lost_g = np.minimum(free_g, most_g)
    gain = np.where(free_g < most_g, lost_g, 0.0)
    known = bath.offset[:, EVAPORATION] - mean[:, EVAPORATION]
    bath.offset[:, SOLVENT] -= lost_g + gain * known
    bath.slope[:, SOLVENT] -= gain[:, None] * bath.slope[:, EVAPORATION]
    bath.spread[:, SOLVENT] -= gain[:, None] * bath.spread[:, EVAPORATION]
    bath.spread[:, :, SOLVENT] -= gain[:, None] * bath.spread[:, :, EVAPORATION]
    bath.spread[:, SOLVENT, SOLVENT] += (settings.evaporation_noise * lost_g) ** 2
    return float(joint.weight @ lost_g)


def scale(bath: Bath, rows: slice, factor: float | Array) -> None:
    """Multiply some of the state by a known factor, one for all or one a hypothesis."""
    if isinstance(factor, np.ndarray):
        factor = factor[:, None]
        wide: float | Array = factor[:, :, None]
    else:
        wide = factor
    bath.offset[:, rows] *= factor
    bath.slope[:, rows] *= wide
    bath.spread[:, rows] *= wide
    bath.spread[:, :, rows] *= wide


def wash(
    bath: Bath, joint: Joint, load: Load, liquid: Liquid, settings: Settings
) -> tuple[float, float]:
    """Parts bring resin in and drag bath liquid out; mean grams of resin in and out."""
    mean = bath.means(joint)
    out_g = drag_out(bath, joint, mean, film_ml_of(joint, load, settings), liquid, settings)
    in_g = np.exp(load.ln_size + joint.mean @ load.direction + load.ln_sd**2 / 2)
    in_g /= 1 - settings.unlogged_share
    in_g = np.minimum(in_g, 2 * mean[:, :2].sum(1))
    shift = in_g - in_g * (joint.mean @ load.direction)
    bath.offset[:, RESIN] += shift
    bath.slope[:, RESIN] += in_g[:, None] * load.direction
    variance = variance_of_wash(math.expm1(load.ln_sd**2), settings)
    bath.spread[:, RESIN, RESIN] += variance * in_g**2
    return float(joint.weight @ in_g), float(joint.weight @ out_g)


def variance_of_wash(of_its_own: float, settings: Settings) -> float:
    """Variance of what comes in by a logged wash and by those that nobody logged beside it, against
    the square of the mean of all that; `of_its_own` is a wash's own against the square of its own.

    Of the others there are k = u/(1 - u) on average, geometrically distributed, of any size x: by
    the law of total variance theirs is k E[x^2] + k^2 E[x]^2. They are foretold of the size of the
    logged one, k^2 (E[x^2] - E[x]^2) off. Together that is (k + k^2) E[x^2], and over many washes
    E[x^2] is the mean square of the logged sizes.
    """
    logged = 1 - settings.unlogged_share
    others = settings.unlogged_share / logged
    return logged**2 * (of_its_own + others * (1 + of_its_own) + others**2)


def film_ml_of(joint: Joint, load: Load, settings: Settings) -> Array:
    """Bath liquid on the parts of a wash, under each hypothesis, with unlogged washes' share."""
    ln_film = load.ln_size + joint.mean[:, FILM]
    if load.surface_column is not None:
        ln_film = ln_film + joint.mean[:, load.surface_column]
    film_ml: Array = np.exp(ln_film) / (1 - settings.unlogged_share)
    return film_ml


def drag_out(
    bath: Bath, joint: Joint, mean: Array, film_ml: Array, liquid: Liquid, settings: Settings
) -> Array:
    """The parts leave with a film of bath liquid; grams of resin in it."""
    volume_ml = 1000 * mean[:, :2] @ liquid.volume_weights
    share = np.minimum(film_ml / np.maximum(volume_ml, 1.0), settings.most_dragged_out)
    out_g = _take_share(bath, mean, share, settings.drag_out_noise)
    dragged = share[:, None] * mean[:, :2]
    bath.slope[:, :2, FILM] -= dragged
    bath.offset[:, :2] += dragged * joint.mean[:, [FILM]]
    return out_g


def _take_share(bath: Bath, mean: Array, share: Array, noise: float) -> Array:
    """Take the same share of resin and solvent out, known but for `noise`; grams of resin."""
    both = slice(RESIN, SOLVENT + 1)
    scale(bath, both, 1 - share)
    # What is left is unsure by no more than half of itself, however much was taken out.
    unsure = np.minimum(noise * share, (1 - share) / 2)[:, None] * mean[:, both]
    bath.spread[:, both, both] += unsure[:, :, None] * unsure[:, None, :]
    out_g: Array = share * mean[:, RESIN]
    return out_g


def remove(
    bath: Bath, joint: Joint, volume_l: float | Array, liquid: Liquid, settings: Settings,
    left_l: float | None = None,
) -> float:  # fmt: skip
    """Bath liquid is taken out, so many litres or so many under each hypothesis; mean grams of
    resin in it. With `left_l` that is what is left."""
    mean = bath.means(joint)
    before_l = np.maximum(mean[:, :2] @ liquid.volume_weights, 1e-3)
    if left_l is None:
        share = np.minimum(volume_l / before_l, MOST_REMOVED)
    else:
        share = 1 - max(left_l, LEAST_L) / before_l  # below 0 where more is seen than was thought
    out_g = _take_share(bath, mean, share, settings.removal_noise)
    return float(joint.weight @ out_g)


def hold(bath: Bath, joint: Joint, most_l: float, liquid: Liquid, settings: Settings) -> float:
    """What does not fit into the tank runs over; mean grams of resin in it."""
    mean = bath.means(joint)
    volume_l = mean[:, :2] @ liquid.volume_weights
    if float(volume_l.max()) <= most_l:
        return 0.0
    share = np.maximum(1 - most_l / np.maximum(volume_l, LEAST_L), 0.0)
    return float(joint.weight @ _take_share(bath, mean, share, settings.drag_out_noise))


def top_up(bath: Bath, volume_l: float, liquid: Liquid, settings: Settings) -> None:
    """Fresh solvent is added."""
    added_g = 1000 * volume_l * liquid.solvent_density_g_ml
    bath.offset[:, SOLVENT] += added_g
    bath.spread[:, SOLVENT, SOLVENT] += (settings.top_up_noise * added_g) ** 2


def level_fits(
    bath: Bath, joint: Joint, seen_l: float, liquid: Liquid, settings: Settings
) -> Array:
    """How well each hypothesis foretold that the level would be seen at `seen_l`: a density, per
    litre, of which a share is as good under any of them (the mark was missed)."""
    weights = liquid.volume_weights
    mean_l = bath.means(joint)[:, :2] @ weights
    along = np.einsum("i,kip->kp", weights, bath.slope[:, :2])
    own = (bath.spread[:, :2, :2] @ weights) @ weights
    common = ((joint.covariance @ along[:, :, None])[:, :, 0] * along).sum(1)
    variance = own + common + (settings.to_mark_noise * seen_l) ** 2
    fits = np.exp(-((seen_l - mean_l) ** 2) / variance / 2) / np.sqrt(2 * math.pi * variance)
    missed = settings.mark_missed_chance
    found: Array = (1 - missed) * fits + missed / (settings.mark_missed_span * seen_l)
    return found


def fill_to(bath: Bath, joint: Joint, volume_l: float, liquid: Liquid, settings: Settings) -> None:
    """The level is seen to stand at `volume_l`.

    What this says of the shared quantities is next to nothing and left out.
    """
    weights = liquid.volume_weights
    seen_l = bath.means(joint)[:, :2] @ weights
    gain_l = bath.spread[:, :, :2] @ weights
    variance = gain_l[:, :2] @ weights + (settings.to_mark_noise * volume_l) ** 2
    gain = gain_l / variance[:, None]
    along = np.einsum("i,kip->kp", weights, bath.slope[:, :2])
    innovation = volume_l - seen_l + (along * joint.mean).sum(1)
    bath.offset += gain * innovation[:, None]
    bath.slope -= gain[:, :, None] * along[:, None, :]
    bath.spread = symmetric(bath.spread - gain[:, :, None] * gain_l[:, None, :])


@dataclass(frozen=True, slots=True)
class Heel:
    """What a swap leaves of the old bath (a share of its liquid) and the fresh solvent added."""

    share: float
    share_sd: float
    fresh_g: float | None
    capacity_l: float


def swap(bath: Bath, joint: Joint, heel: Heel, liquid: Liquid, settings: Settings) -> None:
    """Drained but for a heel, and filled afresh."""
    mean = bath.means(joint)
    resin_g = heel.share * mean[:, RESIN]
    if heel.fresh_g is None:
        rest_l = heel.capacity_l - resin_g * liquid.volume_weights[0]
        solvent_g = 1000 * rest_l * liquid.solvent_density_g_ml
    else:
        solvent_g = heel.share * mean[:, SOLVENT] + heel.fresh_g
    variance = heel.share**2 * bath.spread[:, RESIN, RESIN]
    variance = variance + (heel.share_sd * mean[:, RESIN]) ** 2
    _forget(bath, settings)
    bath.slope[:, RESIN] *= heel.share
    bath.offset[:, RESIN] = resin_g - (bath.slope[:, RESIN] * joint.mean).sum(1)
    bath.slope[:, SOLVENT] = 0.0
    bath.offset[:, SOLVENT] = solvent_g
    bath.spread[:, RESIN, RESIN] = variance
    bath.spread[:, SOLVENT, SOLVENT] = (settings.to_mark_noise * solvent_g) ** 2


@dataclass(frozen=True, slots=True)
class Moved:
    """Liquid that comes out of another bath: mean masses, how the resin hangs on the shared
    quantities, and the variance of what is left."""

    resin_g: float
    resin_along: Array
    resin_variance_g2: float
    solvent_g: float


def drawn(bath: Bath, joint: Joint, volume_l: float | None, liquid: Liquid) -> tuple[Moved, float]:
    """What `volume_l` of a bath holds (None: all that can be drained), and its share of the bath.

    What the two baths then have in common beside the shared quantities is left out: it makes the
    second a little less sure.
    """
    mean, weight = bath.means(joint), joint.weight
    whole_l = max(float(weight @ (mean[:, :2] @ liquid.volume_weights)), 1e-3)
    share = MOST_REMOVED if volume_l is None else min(volume_l / whole_l, 1.0)
    resin_g = float(weight @ np.maximum(mean[:, RESIN], 0.0))
    slope = bath.slope[:, RESIN]
    common = np.einsum("kp,kpq,kq->k", slope, joint.covariance, slope)
    within = float(weight @ bath.spread[:, RESIN, RESIN])
    variance = within + float(weight @ (common + (mean[:, RESIN] - resin_g) ** 2))
    along = weight @ slope
    told = float(weight @ ((joint.covariance @ along) @ along))
    left = max(variance - told, within)
    solvent_g = float(weight @ mean[:, SOLVENT])
    return Moved(share * resin_g, share * along, share**2 * left, share * solvent_g), share


def receive(bath: Bath, moved: Moved, shared_mean: Array) -> None:
    """Liquid of another bath is added."""
    bath.offset[:, RESIN] += moved.resin_g - float(moved.resin_along @ shared_mean)
    bath.slope[:, RESIN] += moved.resin_along
    bath.spread[:, RESIN, RESIN] += moved.resin_variance_g2
    bath.offset[:, SOLVENT] += moved.solvent_g


def start_from_baseline(bath: Bath, settings: Settings) -> None:
    """The fresh solvent was measured: water counts from what it had then."""
    scale(bath, slice(WATER, WATER + 1), 0.0)
    bath.spread[:, WATER, WATER] = settings.baseline_water_sd_percent**2


def _forget(bath: Bath, settings: Settings) -> None:
    """What the old fill said of covariances, slips and missing washes; halve its density bias."""
    scale(bath, slice(HYDROMETER_BIAS, HYDROMETER_BIAS + 1), 0.5)
    variances = np.diagonal(bath.spread, axis1=1, axis2=2).copy()
    variances[:, HYDROMETER_BIAS] += settings.hydrometer_fresh_bias_sd_percent**2
    variances[:, WATER] = settings.water_sd_percent**2
    bath.offset[:, WATER] = 0.0
    bath.slope[:, WATER] = 0.0
    bath.spread = variances[:, :, None] * np.eye(variances.shape[1])
    bath.is_slip = np.zeros_like(bath.is_slip)
    bath.jumped_on = np.full_like(bath.jumped_on, NEVER)
    bath.found_on[:, :PAIR] = NEVER  # that two tanks are a pair outlives a fill
    bath.read_on = np.full_like(bath.read_on, bath.day)
