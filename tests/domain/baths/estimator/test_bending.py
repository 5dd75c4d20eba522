"""A carry-in far from what was expected, against the posterior worked out on a grid."""

from dataclasses import replace

import numpy as np
import pytest

from app.domain.baths.estimator import Settings
from tests.domain.baths.estimator.logs import SURE, Log

SD_LN, SD_PERCENT, CAPACITY_L = 0.48, 0.17, 42.0
USUAL_G_CM2 = Settings().carry_in_g_cm2
ONE_UNKNOWN = replace(
    SURE, is_mixture=False, carry_in_ln_sd=SD_LN, drag_out_ml_cm2=0.0, residue_sd_percent=SD_PERCENT
)
FILL_G = 1000 * CAPACITY_L * 0.78830  # 99 % isopropanol at 20 C, handbook density
AREA_CM2, WASHES = 2000.0, 40


def percent_of(factor: np.ndarray | float) -> np.ndarray:
    """Saturation after the washes, by masses, at so many times the usual carry-in."""
    resin_g = WASHES * AREA_CM2 * USUAL_G_CM2 * np.asarray(factor)
    return 100 * resin_g / (resin_g + FILL_G)


def on_a_grid(seen_percent: float) -> tuple[float, float]:
    """Mean and sd of the logarithm of the factor, by Bayes' rule on a fine grid."""
    ln = np.linspace(-3, 3, 60_001)
    off = (seen_percent - percent_of(np.exp(ln))) / SD_PERCENT
    weight = np.exp(-(off**2) / 2 - (ln / SD_LN) ** 2 / 2)
    weight /= weight.sum()
    mean = float(weight @ ln)
    return mean, float(np.sqrt(weight @ (ln - mean) ** 2))


@pytest.mark.parametrize("factor", [0.4, 0.5, 0.8, 1.0, 1.3, 2.0, 3.0])
def test_one_reading_teaches_a_carry_in_far_off_what_bayes_rule_says(factor: float) -> None:
    log = Log(ONE_UNKNOWN)
    log.washes(0, 10, per_day=4)
    log.residue(10, float(percent_of(factor)))
    learned = log.room.carry_in()[0]
    expected = on_a_grid(float(percent_of(factor)))
    said_sd = np.log(learned.high_g_cm2 / learned.low_g_cm2) / 2 / 1.645
    assert np.log(learned.median_g_cm2 / USUAL_G_CM2) == pytest.approx(expected[0], abs=0.02)
    assert said_sd == pytest.approx(expected[1], rel=0.15)


@pytest.mark.parametrize("factor", [0.5, 2.0])
def test_a_bath_that_was_not_read_holds_what_its_room_carries_in(factor: float) -> None:
    log = Log(ONE_UNKNOWN)
    log.tank(0, tank="birch")
    log.washes(0, 10, per_day=4)
    log.washes(0, 10, per_day=4, tank="birch")
    log.residue(10, float(percent_of(factor)))
    assert log.percent(10, tank="birch") == pytest.approx(float(percent_of(factor)), rel=0.04)


def test_a_bath_changed_by_somebody_is_no_room_that_carries_in_next_to_nothing() -> None:
    log = Log(limit_percent=30.0)
    log.washes(0, 21)
    log.residue(21, log.percent(21))
    for day in (23, 24):
        log.residue(day, 0.5)
    assert "swap_missing" in log.flags(24)
    assert log.room.carry_in()[0].median_g_cm2 > 0.8 * USUAL_G_CM2
