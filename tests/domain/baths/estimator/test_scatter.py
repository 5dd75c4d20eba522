"""How much washes scatter, those that nobody logged among them, against many made-up fills."""

import math

import numpy as np
import pytest

from app.domain.baths.estimator import Settings
from app.domain.baths.estimator.bath import RESIN, Bath
from app.domain.baths.estimator.mixture import glance
from app.domain.baths.estimator.shared import Shared
from app.domain.baths.estimator.transitions import variance_of_wash

FILLS, WASHES = 40_000, 30


@pytest.mark.parametrize("unlogged, ln_sd", [(0.1, 0.32), (0.25, 0.2), (0.0, 0.4)])
def test_what_is_said_of_a_fills_washes_is_how_far_they_fall(unlogged: float, ln_sd: float) -> None:
    """Washes of any size, each logged or not: what came in against what the logged ones foretell.

    Drawn by numpy alone; the size of a wash that nobody logged is another one.
    """
    rng = np.random.default_rng(20)
    size_ln_sd = 0.5

    def sizes(*shape: int) -> np.ndarray:
        return np.exp(rng.normal(-(size_ln_sd**2) / 2, size_ln_sd, shape))

    def carried(size: np.ndarray) -> np.ndarray:
        return size * np.exp(rng.normal(-(ln_sd**2) / 2, ln_sd, size.shape))

    logged = sizes(FILLS, WASHES)
    came_in = carried(logged).sum(1)
    others = rng.geometric(1 - unlogged, (FILLS, WASHES)).sum(1) - WASHES
    for place in range(int(others.max())):
        came_in += np.where(place < others, carried(sizes(FILLS)), 0.0)
    foretold = logged / (1 - unlogged)
    settings = Settings(unlogged_share=unlogged)
    said = variance_of_wash(math.expm1(ln_sd**2), settings) * (foretold**2).sum(1)
    assert np.mean(came_in) == pytest.approx(foretold.sum(1).mean(), rel=0.01)
    off = came_in - foretold.sum(1)
    assert np.var(off) == pytest.approx(said.mean(), rel=0.04)


def test_a_mean_lies_in_its_band_however_far_off_an_unlikely_hypothesis_is() -> None:
    shared = Shared(Settings())
    state = np.array([5.0, 10_000.0, -5.0, 0.0, 0.0, 0.0, 0.0])
    bath = Bath(state, np.diag([1.0, 1.0, 1e-6, 1e-6, 1e-6, 1e-6, 1e-6]), shared.size, 0.0)
    bath.split(0.03, 0)
    bath.offset[1, RESIN] = 800.0
    seen = glance(bath, bath.joint(shared), np.array([1e-3 / 1.12, 1e-3 / 0.79])).saturation
    assert seen.p05 <= seen.mean <= seen.p95
