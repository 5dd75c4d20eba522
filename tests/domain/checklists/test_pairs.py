"""Counter-flow of two baths against published figures and the distributions it comes from."""

import pytest

from app.domain.checklists.pairs import (
    saving,
    static_ratios,
)
from tests.oracles import Ask


@pytest.mark.parametrize("loads", [1, 10, 50, 100, 400])
def test_still_baths_follow_the_binomial_distribution(loads: int, ask: Ask) -> None:
    """The batch formula of still rinses (J. Surface Finishing Society of Japan 28(7), abstract) is
    P(Binomial(j+k-1, p) >= k): held against scipy.stats.binom."""
    bath_l, drag_out_l = 10.0, 0.02
    p = drag_out_l / (bath_l + drag_out_l)
    found = static_ratios(loads, bath_l, drag_out_l)
    for k, ratio in enumerate(found, 1):
        expected = ask("scipy.stats.binom.sf", k - 1, loads + k - 1, p)
        assert ratio == pytest.approx(expected, rel=1e-9)


def test_still_baths_of_small_loads_follow_the_gamma_distribution(ask: Ask) -> None:
    """Its limit for small loads is the gamma distribution: held against scipy.stats.gamma."""
    dirty, clean = static_ratios(50_000, 10.0, 0.0001)
    assert dirty == pytest.approx(ask("scipy.stats.gamma.cdf", 0.5, 1), rel=1e-4)
    assert clean == pytest.approx(ask("scipy.stats.gamma.cdf", 0.5, 2), rel=1e-4)


def test_still_baths_follow_the_load_by_load_balance() -> None:
    dirty = clean = 0.0
    for _ in range(50):
        dirty = (dirty * 10 + 0.02) / 10.02
        clean = (clean * 10 + dirty * 0.02) / 10.02
    assert static_ratios(50, 10, 0.02) == pytest.approx((dirty, clean))


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
