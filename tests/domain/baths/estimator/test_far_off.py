"""A hydrometer or a refractometer that is far off, and wet solvent: none of them is resin."""

import numpy as np
import pytest

from app.domain.roomlog import kinds
from tests.domain.baths.estimator.logs import Log, after

# Of 2-propanol with 1 and 3 mass % of water at 20 C: Lebo, J. Am. Chem. Soc. 43, 1005 (1921),
# fitted; of the resin as the log gives it.
SOLVENT_G_ML, WET_G_ML, RESIN_G_ML = 0.7883, 0.79346, 1.12
FRESH_INDEX, RESIN_INDEX = 1.3772, 1.49  # of dry 2-propanol and of a usual acrylate; from memory


def density_g_ml(percent: float, solvent_g_ml: float = SOLVENT_G_ML) -> float:
    return 100 / (percent / RESIN_G_ML + (100 - percent) / solvent_g_ml)


def index(percent: float) -> float:
    """By volumes that add up."""
    resin, solvent = percent / RESIN_G_ML, (100 - percent) / SOLVENT_G_ML
    return FRESH_INDEX + (RESIN_INDEX - FRESH_INDEX) * resin / (resin + solvent)


def pair_never_told(off_percent: float) -> Log:
    """Three weeks of loads through two baths; the truth of the dirty one rises by 0.4 % a day."""
    log, rng = Log(limit_percent=14.0), np.random.default_rng(4)
    log.tank(0, tank="birch", name="Birch", limit_percent=14.0)
    for day in range(21):
        for i in range(4):
            at, size = day + 0.1 * (i + 1), 2300 * float(np.exp(rng.normal(0, 0.3)))
            log.wash(at, size)
            log.wash(at + 0.01, size, tank="birch")
        if day % 3 == 2:
            for tank, percent in (("alder", 0.4 * day), ("birch", 0.01 * day)):
                shown = percent + off_percent + float(rng.normal(0, 0.3))
                log.hydrometer(day + 0.6, density_g_ml(shown), tank=tank)
    return log


@pytest.mark.parametrize("off_percent", [0.0, 3.0])
def test_a_hydrometer_off_by_three_does_not_fill_the_clean_bath_of_a_pair_never_told(
    off_percent: float,
) -> None:
    belief = pair_never_told(off_percent).room.belief("birch", after(21))
    assert belief.mean_percent < 0.5


def test_a_hydrometer_off_by_three_is_learned_where_nothing_else_reads() -> None:
    """Three fills of two baths, each of which begins with next to nothing."""
    log, rng = Log(), np.random.default_rng(4)
    log.tank(0, tank="birch", name="Birch")
    for day in range(42):
        percent = 0.5 * (day % 14 + 0.5)
        for tank in ("alder", "birch"):
            log.washes(day, day + 0.5, per_day=8, tank=tank)
            if day % 3 == 1:
                shown = percent + 3.0 + float(rng.normal(0, 0.5))
                log.hydrometer(day + 0.6, density_g_ml(shown), tank=tank)
            if day in (13, 27):
                log.at_tank(kinds.Swap, day + 0.9, tank=tank)
    (passport,) = log.room.passports()
    assert passport.bias is not None
    assert passport.bias[0] > 1.8
    assert "instrument_off" in log.flags(42)


def test_a_refractometer_that_shows_two_thousandths_too_much_is_learned_from_fresh_fills() -> None:
    """0.002 of the index are about 2 mass %: each fill begins with next to none."""
    log = Log()
    for fill in range(3):
        for day in range(fill * 14, fill * 14 + 14):
            log.washes(day, day + 0.5, per_day=8)
            percent = 0.65 * (day - fill * 14 + 0.5)
            if day % 2:
                values = {"index": round(index(percent) + 0.002, 5), "temperature_c": 20.0}
                log.at_tank(kinds.Reading, day + 0.6, method="refractometer", values=values)
        if fill < 2:
            log.at_tank(kinds.Swap, fill * 14 + 13.9)
    belief = log.room.belief("alder", after(41.9))
    assert belief.mean_percent == pytest.approx(0.65 * 13.5, abs=1.3)
    assert belief.p05_percent < 0.65 * 13.5 < belief.p95_percent


def test_a_wet_fill_is_named_by_its_second_reading_once_the_hydrometer_is_known() -> None:
    log = Log()
    for day in (1, 4, 7, 10):
        log.washes(day - 1, day)
        log.residue(day, 0.45 * day)
        log.hydrometer(day + 0.1, density_g_ml(0.45 * day))
    log.at_tank(kinds.Swap, 11)
    log.residue(12, 0.1)
    assert "water_suspected" not in log.flags(12)
    log.hydrometer(12.1, density_g_ml(0.1, WET_G_ML))
    log.hydrometer(13, density_g_ml(0.1, WET_G_ML))
    assert "water_suspected" in log.flags(13)
