"""What a rinse does to the clean bath of a pair: a film of the dirty bath comes in."""

import math
from dataclasses import dataclass

import numpy as np

from app.domain.baths.estimator.bath import FEED, RESIN, SOLVENT, Bath, Joint
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import FILM, Array
from app.domain.baths.estimator.transitions import (
    Liquid,
    Load,
    drag_out,
    film_ml_of,
    scale,
    variance_of_wash,
)

MOST_FEED_SHARE = 1.0
LEAST_FEED_G_ML = 1e-5  # a fresh bath: less is not told apart


@dataclass(frozen=True, slots=True)
class Feed:
    """What a pair's dirty bath holds, grams in a millilitre, for the film that leaves it.

    Attributes:
        along: change of `resin_g_ml` with the shared quantities, from their `mean` on.
        own_share: standard deviation of what the dirty bath alone is unsure of, as a share.
    """

    resin_g_ml: float
    solvent_g_ml: float
    along: Array
    mean: Array
    own_share: float


def feed_of(dirty: Bath, joint: Joint, shared_mean: Array, liquid: Liquid) -> Feed:
    """The feed that the film of a dirty bath is."""
    mean, weight = dirty.means(joint), joint.weight
    per_resin, per_solvent = liquid.volume_weights * 1000
    resin_g, solvent_g = np.maximum(mean[:, RESIN], 0.0), np.maximum(mean[:, SOLVENT], 1.0)
    volume_ml = per_resin * resin_g + per_solvent * solvent_g
    held = resin_g / volume_ml
    looks = np.stack([per_solvent * solvent_g, -per_solvent * resin_g], axis=1)
    looks /= volume_ml[:, None] ** 2
    slopes = (looks[:, None, :] @ dirty.slope[:, :2])[:, 0]
    own = ((looks[:, None, :] @ dirty.spread[:, :2, :2])[:, 0] * looks).sum(1)
    common = ((slopes[:, None, :] @ joint.covariance)[:, 0] * slopes).sum(1)
    middle, along = float(weight @ held), weight @ slopes
    total = float(weight @ (own + common + (held - middle) ** 2))
    told = float(weight @ ((joint.covariance @ along) @ along))
    left = max(total - told, 0.5 * float(weight @ own))
    return Feed(
        middle, float(weight @ (solvent_g / volume_ml)), along, shared_mean,
        math.sqrt(left) / max(middle, 1e-6),
    )  # fmt: skip


def as_ln_sd(share: float) -> float:
    """The scatter of the logarithm of what scatters by a share of itself."""
    return math.sqrt(math.log1p(min(share, MOST_FEED_SHARE) ** 2))


def steady_feed(bath: Bath, feed: Feed, days: float | None, settings: Settings) -> None:
    """The error in what the dirty bath's film holds lasts some days; it is another one where
    `days` since the last film is None."""
    keep = 0.0 if days is None else math.exp(-days / settings.feed_days)
    scale(bath, slice(FEED, FEED + 1), keep)
    variance = min(feed.own_share, MOST_FEED_SHARE) ** 2 * (1 - keep * keep)
    bath.spread[:, FEED, FEED] += variance


def rinse(
    bath: Bath, joint: Joint, load: Load, feed: Feed, liquid: Liquid, settings: Settings
) -> tuple[float, float]:
    """Parts bring a film of the dirty bath in and leave with one of this; grams of resin in, out.

    With D the film, c what the dirty bath holds and V the volume: (c' V) = c' (V - D) + c D, load
    by load the batch formula of two still rinses that `checklists/pairs.py` names.
    """
    mean = bath.means(joint)
    film_ml = film_ml_of(joint, load, settings)
    film_ml = np.minimum(
        film_ml, settings.most_dragged_out * 1000 * mean[:, :2] @ liquid.volume_weights
    )
    out_g = drag_out(bath, joint, mean, film_ml, liquid, settings)
    off = joint.mean - feed.mean
    held = np.maximum(feed.resin_g_ml + off @ feed.along, 0.0)
    in_g, solvent_g = film_ml * held, film_ml * feed.solvent_g_ml
    along = film_ml[:, None] * feed.along
    along[:, FILM] += in_g
    if load.surface_column is not None:
        along[:, load.surface_column] += in_g
    bath.offset[:, RESIN] += in_g * (1 + bath.offset[:, FEED]) - (along * joint.mean).sum(1)
    bath.slope[:, RESIN] += along + in_g[:, None] * bath.slope[:, FEED]
    bath.spread[:, RESIN] += in_g[:, None] * bath.spread[:, FEED]
    bath.spread[:, :, RESIN] += in_g[:, None] * bath.spread[:, :, FEED]
    bath.offset[:, SOLVENT] += solvent_g * (1 - joint.mean[:, FILM])
    bath.slope[:, SOLVENT, FILM] += solvent_g
    scatter = math.expm1(load.ln_sd**2 - settings.wash_ln_sd**2 + settings.drag_out_noise**2)
    variance = variance_of_wash(scatter, settings)
    bath.spread[:, RESIN, RESIN] += variance * in_g**2
    return float(joint.weight @ in_g), float(joint.weight @ out_g)
