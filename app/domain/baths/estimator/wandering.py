"""What the baths of a room share changes slowly with the days."""

import numpy as np

from app.domain.baths.estimator.bath import Bath, Joint, symmetric
from app.domain.baths.estimator.settings import Settings
from app.domain.baths.estimator.shared import FIRST_RESIN, Array, Shared


def wander(baths: list[Bath], shared: Shared, days: float, settings: Settings) -> None:
    """Let each resin's carry-in wander for some days."""
    walk = np.zeros(shared.size)
    walk[FIRST_RESIN:] = settings.resin_walk_ln_sd**2 * days
    widen(baths, shared, walk)


def widen(baths: list[Bath], shared: Shared, walk: Array) -> None:
    """Let shared quantities be less sure, each by a variance, 0 for those that stay.

    What the baths have then in common beyond the shared quantities is tiny and left out.
    """
    joints = [bath.joint(shared) for bath in baths]
    shared.change(shared.mean, shared.covariance + np.diag(walk))
    if not baths:
        return
    parts = zip(
        *(_parts(bath, joint) for bath, joint in zip(baths, joints, strict=True)), strict=True
    )
    counts = np.cumsum([len(bath.weight) for bath in baths])[:-1]
    loosened = _loosen(walk, *(np.concatenate(part) for part in parts))
    moved = zip(*(np.split(part, counts) for part in loosened), strict=True)
    for bath, joint, (offset, slope, spread) in zip(baths, joints, moved, strict=True):
        bath.offset, bath.slope, bath.spread = offset.copy(), slope.copy(), spread.copy()
        bath.rest_on(shared, joint.mean, joint.covariance + np.diag(walk), joint.weight)


def _parts(bath: Bath, joint: Joint) -> tuple[Array, ...]:
    return bath.offset, bath.slope, bath.spread, joint.mean, joint.covariance


def _loosen(
    walk: Array, offset: Array, slope: Array, spread: Array, mean: Array, covariance: Array
) -> tuple[Array, ...]:
    """Baths that hung on the shared quantities as they were, hung on them as they are now."""
    state = offset + (slope @ mean[:, :, None])[:, :, 0]
    kept = covariance @ np.linalg.inv(covariance + np.diag(walk))
    lost = covariance - kept @ covariance
    spread_now = symmetric(spread + slope @ lost @ slope.swapaxes(1, 2))
    slope_now = slope @ kept
    return state - (slope_now @ mean[:, :, None])[:, :, 0], slope_now, spread_now
