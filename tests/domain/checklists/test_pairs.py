"""Counter-flow of two baths against published figures and the distributions it comes from."""

import pytest
from scipy.stats import binom, gamma

from app.domain.checklists.pairs import (
    flowing_ratio,
    fresh_for_loads,
    loads_to_limit,
    rinse_ratio_for,
    saving,
    static_ratios,
)


@pytest.mark.parametrize("stages, volumes", [(1, 6750), (2, 82), (3, 18)])
def test_the_flowing_rinse_needs_the_published_volumes(stages: int, volumes: float) -> None:
    """From 270 000 to 40 mg/L, a pollution prevention manual for finishers (p2infohouse 00051)
    gives 6750, 82 and 18 volumes of rinse for a volume of drag-out, from R = (C0/Cn)^(1/n): its
    last figure is rounded down from 18.9, the exact relation gives 18.55."""
    ratio = 40 / 270_000
    assert (1 / ratio) ** (1 / stages) == pytest.approx(volumes, abs=1)
    assert rinse_ratio_for(ratio, stages) == pytest.approx(volumes, rel=0.032)
    assert flowing_ratio(rinse_ratio_for(ratio, stages), stages) == pytest.approx(ratio)


def test_a_rinse_as_strong_as_its_drag_out_halves_in_one_stage() -> None:
    assert flowing_ratio(1.0, 1) == pytest.approx(0.5)
    assert flowing_ratio(1.0 + 1e-7, 2) == pytest.approx(1 / 3, rel=1e-5)


@pytest.mark.parametrize("loads", [1, 10, 50, 100, 400])
def test_still_baths_follow_the_binomial_distribution(loads: int) -> None:
    """The batch formula of still rinses (J. Surface Finishing Society of Japan 28(7), abstract) is
    P(Binomial(j+k-1, p) >= k): held against scipy.stats.binom."""
    bath_l, drag_out_l = 10.0, 0.02
    p = drag_out_l / (bath_l + drag_out_l)
    found = static_ratios(loads, bath_l, drag_out_l)
    for k, ratio in enumerate(found, 1):
        assert ratio == pytest.approx(binom.sf(k - 1, loads + k - 1, p), rel=1e-9)


def test_still_baths_of_small_loads_follow_the_gamma_distribution() -> None:
    """Its limit for small loads is the gamma distribution: held against scipy.stats.gamma."""
    dirty, clean = static_ratios(50_000, 10.0, 0.0001)
    assert dirty == pytest.approx(gamma.cdf(0.5, 1), rel=1e-4)
    assert clean == pytest.approx(gamma.cdf(0.5, 2), rel=1e-4)


def test_still_baths_follow_the_load_by_load_balance() -> None:
    dirty = clean = 0.0
    for _ in range(50):
        dirty = (dirty * 10 + 0.02) / 10.02
        clean = (clean * 10 + dirty * 0.02) / 10.02
    assert static_ratios(50, 10, 0.02) == pytest.approx((dirty, clean))


def test_the_loads_to_a_limit_follow_the_load_by_load_balance() -> None:
    held, loads = 0.0, 0
    while held < 120:
        held, loads = (held * 10 + 5) / 10.01, loads + 1
    assert loads - 1 < loads_to_limit(120, 10, 0.01, 5) <= loads
    assert loads_to_limit(500, 10, 0.01, 5) == float("inf")


def test_moving_the_clean_bath_needs_the_least_fresh_solvent() -> None:
    """Source Reduction by counter-flow: one fill in place of two a swap, for a shorter cycle."""
    found = fresh_for_loads(6000, 15.8, 10, 0.01, 5)
    assert found.cascade_l < found.independent_l < found.single_l
    assert found.cascade_l / found.independent_l == pytest.approx(260 / 440)


def test_the_saving_on_the_day_agrees_with_the_load_by_load_count() -> None:
    """Baths of 10 L at 120 and 15.7 g/L: the cycle after a move is 243 of 274 loads (counted load
    by load), so that a load takes (10/243)/(20/274) of the fresh solvent."""
    found = saving(120, 15.7, 10, 10)
    assert found is not None
    assert found.loads_ratio == pytest.approx(243 / 274, rel=0.01)
    assert found.fresh_percent == pytest.approx(100 * (10 / 243) / (20 / 274), rel=0.01)


@pytest.mark.parametrize("dirty, clean", [(0, 0), (5, 0), (5, 5), (5, 6), (5, 4.9)])
def test_no_saving_is_claimed_where_the_figures_give_none(dirty: float, clean: float) -> None:
    assert saving(dirty, clean, 10, 10) is None
