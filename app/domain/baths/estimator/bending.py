"""Carried-in resin grows as the exponential of what the room shares; the filter's lines follow it.

A bath hangs on the shared quantities by a straight line. Where a reading moves the carry-in far (a
room that carries in half or twice of what was expected), a straight line takes too much of it on
the upper side and too little on the lower one, and is too sure of it. So the line is drawn anew at
the place to which the reading moves it: the iterated extended Kalman filter (Bell and Cathey, IEEE
Trans. Automatic Control 38, 294 (1993); from memory).
"""

from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from app.domain.baths.estimator.bath import RESIN, Bath
from app.domain.baths.estimator.shared import (
    CARRY_IN,
    CM2_PER_G,
    CM2_PER_PART,
    FIRST_RESIN,
    Array,
    Shared,
)

MOST_LN = 1.5
LEAST_LN = 0.02  # a line that is moved by less is near enough
LEAST_G = 1e-9


def far(before: Array, after: Array, most_ln: float = LEAST_LN) -> NDArray[np.bool_]:
    """Under which hypotheses shared quantities moved so far that a line has to be drawn anew."""
    apart = np.abs(after - before)
    sizes = apart[:, [CARRY_IN, CM2_PER_G, CM2_PER_PART]].max(1)
    is_far: NDArray[np.bool_] = (
        np.maximum(sizes, apart[:, FIRST_RESIN:].max(1, initial=0)) > most_ln
    )
    return is_far


def bent(slope: Array, before: Array, after: Array) -> tuple[Array, Array]:
    """Resin (g) that comes to the straight line's at `before`, and its line at `after`.

    Args:
        slope: of the resin with each shared quantity under each hypothesis, as it is at `before`.
        before, after: the shared quantities under each hypothesis.
    """
    apart = np.clip(after - before, -MOST_LN, MOST_LN)
    whole = slope[:, [CARRY_IN]]
    by_resin = slope[:, FIRST_RESIN:]
    sizes = slope[:, [CM2_PER_G, CM2_PER_PART]]
    safe = np.where(np.abs(whole) < LEAST_G, 1.0, whole)
    share = np.clip(np.where(np.abs(whole) < LEAST_G, 0.0, sizes / safe), 0.0, 1.0)
    common = apart[:, [CARRY_IN]]
    common = common + (share * apart[:, [CM2_PER_G, CM2_PER_PART]]).sum(1, keepdims=True)
    grown = np.exp(np.clip(common + apart[:, FIRST_RESIN:], -MOST_LN, MOST_LN))
    rest = whole[:, 0] - by_resin.sum(1)  # of what was washed before its resin had a column
    rest_grown = np.exp(np.clip(common[:, 0], -MOST_LN, MOST_LN))
    resins_now = by_resin * grown
    whole_now = resins_now.sum(1) + rest * rest_grown
    line = slope.copy()
    line[:, FIRST_RESIN:] = resins_now
    line[:, CARRY_IN] = whole_now
    line[:, [CM2_PER_G, CM2_PER_PART]] = sizes * np.where(
        np.abs(whole) < LEAST_G, 1.0, whole_now[:, None] / safe
    )
    return whole_now - whole[:, 0], line


def drawn_anew(offset: Array, slope: Array, before: Array, after: Array) -> tuple[Array, Array]:
    """A bath's lines, right at `before`, drawn anew at `after`: offsets and slopes.

    The line of all else stays; that of the resin passes through what it is at `after`.
    """
    more_g, line = bent(slope[:, RESIN], before, after)
    at_before = offset[:, RESIN] + (slope[:, RESIN] * before).sum(1)
    straight = slope[:, RESIN].copy()
    columns = [CARRY_IN, CM2_PER_G, CM2_PER_PART]
    straight[:, columns] = straight[:, FIRST_RESIN:] = 0.0
    at_after = at_before + more_g + (straight * (after - before)).sum(1)
    offset, slope = offset.copy(), slope.copy()
    slope[:, RESIN] = line
    offset[:, RESIN] = at_after - (line * after).sum(1)
    return offset, slope


def follow(baths: Iterable[Bath], before_mean: Array, before_root: Array, shared: Shared) -> None:
    """Baths whose room another bath's reading has moved hang on it by new lines.

    Args:
        before_mean, before_root: of the shared quantities before that reading.
    """
    if not far(before_mean[None], shared.mean[None]).any():
        return
    for bath in baths:
        before = before_mean + bath.shift @ before_root.T
        after = bath.joint(shared).mean
        bath.offset, bath.slope = drawn_anew(bath.offset, bath.slope, before, after)
