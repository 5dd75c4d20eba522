"""Water in the solvent reads as resin in a density: the filter tells the two apart where it can.

Densities are those of 2-propanol with water at 20 C by Lebo, J. Am. Chem. Soc. 43, 1005 (1921), at
90.35 and 100 mass %, between them with the excess volume fitted to those rows (0.79346 at 97 %);
resin is mixed in without contraction.
"""

import pytest

from tests.domain.baths.estimator.logs import Log, after

AT_97_G_ML, AT_99_G_ML, RESIN_G_ML = 0.79346, 0.78830, 1.12


def density_g_ml(resin_percent: float, solvent_g_ml: float) -> float:
    """Of a bath of so much resin by mass, volumes added."""
    w = resin_percent / 100
    return 1 / (w / RESIN_G_ML + (1 - w) / solvent_g_ml)


def read_for_weeks(solvent_g_ml: float, residues: bool) -> Log:
    """A bath at a known saturation, 4 %, read by hydrometer every third day, by residue weekly."""
    log = Log(saturation_percent=4.0, limit_percent=30.0)
    for week in range(3):
        for day in (1, 4):
            log.hydrometer(7 * week + day, density_g_ml(4.0, solvent_g_ml))
        if residues:
            log.residue(7 * week + 5, 4.0)
    return log


def test_two_percent_of_water_shows_as_two_percent_of_resin_in_a_density() -> None:
    # The handbook's rows: 97 % alcohol without resin is as dense as 99 % with 2.2 % resin.
    assert density_g_ml(2.2, AT_99_G_ML) == pytest.approx(AT_97_G_ML, abs=0.0001)


def test_density_with_residue_tells_two_percent_of_water_from_resin() -> None:
    log = read_for_weeks(AT_97_G_ML, residues=True)
    belief = log.room.belief("alder", after(19.1))
    assert belief.mean_percent == pytest.approx(4.0, abs=0.2)
    water, sd = belief.water_percent
    assert abs(water - 2.0) < 2 * sd
    assert "water_suspected" in belief.flags
    assert "apparent" not in belief.flags


def test_density_alone_is_apparent_and_its_band_holds_the_truth() -> None:
    log = read_for_weeks(AT_97_G_ML, residues=False)
    belief = log.room.belief("alder", after(18.1))
    assert "apparent" in belief.flags
    assert belief.p05_percent < 4.0 < belief.p95_percent


def test_a_dry_bath_is_not_called_wet() -> None:
    log = read_for_weeks(AT_99_G_ML, residues=True)
    belief = log.room.belief("alder", after(19.1))
    assert belief.mean_percent == pytest.approx(4.0, abs=0.2)
    assert "water_suspected" not in belief.flags
