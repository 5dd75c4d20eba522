"""When a pair's clean bath passes its limit: against the batch formula stepped on by itself."""

import dataclasses

import numpy as np
import pytest

from app.domain.baths.estimator import BathBelief
from app.domain.baths.forecast import passing_days
from tests.domain.baths.estimator.logs import SURE, Log, after

FILM_ML_CM2 = SURE.drag_out_ml_cm2
CARRY_G_CM2 = SURE.carry_in_g_cm2
KNOWN = dataclasses.replace(SURE, resin_ln_sd=1e-6, water_sd_percent=0.0)
A_DAY, AREA_CM2, DAYS = 3, 4000.0, 30
DIRTY_LIMIT = 20.0


def _pair(clean_limit: float) -> Log:
    log = Log(KNOWN, pair="birch", limit_percent=DIRTY_LIMIT)
    log.tank(0, tank="birch", name="Birch", limit_percent=clean_limit)
    for number in range(DAYS * A_DAY):
        at = number // A_DAY + 0.1 * (number % A_DAY)
        log.wash(at, AREA_CM2)
        log.wash(at + 0.01, AREA_CM2, tank="birch")
    return log


def _stepped(dirty: BathBelief, clean: BathBelief, limit: float) -> float:
    """Days until the clean bath passes: each load takes a film D of what it comes from, at constant
    volume V: (c' V) = c' (V - D) + c D (two still rinses, batch by batch; sources as in
    test_pairs.py), with each bath kept at its volume by top-ups."""
    volume_ml = 1000 * dirty.volume_l
    film_ml, load_g = FILM_ML_CM2 * AREA_CM2, CARRY_G_CM2 * AREA_CM2
    c1, c2 = dirty.resin_g / volume_ml, clean.resin_g / volume_ml
    for number in range(1, 365 * A_DAY):
        c1 += (load_g - film_ml * c1) / volume_ml
        c2 += film_ml * (c1 - c2) / volume_ml
        resin, rest = c2 * volume_ml, (1 - c2 / clean.resin_density_g_ml) * volume_ml
        if 100 * resin / (resin + rest * clean.solvent_density_g_ml) >= limit:
            return number / A_DAY
    raise AssertionError("never")


@pytest.mark.parametrize("clean_limit", [1.0, 1.5, 3.0])
def test_a_clean_bath_fills_with_the_film_and_not_with_resin_wet_parts(clean_limit: float) -> None:
    log = _pair(clean_limit)
    now = after(DAYS)
    dirty, clean = log.room.belief("alder", now), log.room.belief("birch", now)
    assert clean.mean_percent < clean_limit
    expected = _stepped(dirty, clean, clean_limit)
    days = passing_days(log.room, "birch", now, np.random.default_rng(1))
    assert np.median(days) == pytest.approx(expected, rel=0.2, abs=2.0)


def test_a_bath_that_is_no_pair_s_is_forecast_as_before() -> None:
    log = _pair(1.0)
    assert log.room.fed_from("alder") is None
    assert log.room.fed_from("birch") == "alder"
