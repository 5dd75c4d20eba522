"""The residue test against the standard's definition."""

import pytest
from uncertainties import ufloat

from app.domain.errors import FieldError
from app.domain.instruments import INSTRUMENTS, BathLiquid, measure
from app.domain.solvents import solvent

BATH = BathLiquid(solvent("isopropanol"), 99.0, 1.12)


def test_non_volatile_matter_as_the_standard_defines_it() -> None:
    """ISO 3251:2019: 100 (m2 - m0) / (m1 - m0), dish 25.000 g, filled 35.000 g, dry 25.820 g."""
    dish_g, filled_g, dry_g = 25.000, 35.000, 25.820
    values = {"sample_g": filled_g - dish_g, "residue_g": dry_g - dish_g}
    measured = measure("residue", values, BATH)
    assert measured.mass_percent == pytest.approx(100 * (dry_g - dish_g) / (filled_g - dish_g))
    assert measured.mass_percent == pytest.approx(8.200)
    assert not measured.is_apparent
    assert measured.notes == ()


def test_its_uncertainty_is_that_of_the_four_weighings() -> None:
    """uncertainties package, a balance of 0.01 g, each net mass weighed against its own dish."""
    sample = ufloat(35.000, 0.01) - ufloat(25.000, 0.01)
    residue = ufloat(25.820, 0.01) - ufloat(25.000, 0.01)
    expected = 100 * (residue / sample).std_dev
    measured = measure("residue", {"sample_g": 10.0, "residue_g": 0.82}, BATH)
    assert measured.sd_percent == pytest.approx(expected)
    assert measured.sd_percent == pytest.approx(0.14, abs=0.005)


def test_a_small_sample_is_less_sure_and_says_so() -> None:
    large = measure("residue", {"sample_g": 10.0, "residue_g": 0.8}, BATH)
    small = measure("residue", {"sample_g": 2.0, "residue_g": 0.16}, BATH)
    assert small.mass_percent == pytest.approx(large.mass_percent)
    assert small.sd_percent > 4 * large.sd_percent
    assert any("10 g" in note for note in small.notes)


@pytest.mark.parametrize("key", ["tpm", "dpm", "propylene_carbonate"])
def test_a_solvent_that_does_not_dry_is_refused_with_its_reason(key: str) -> None:
    slow = BathLiquid(solvent(key), 99.0, 1.12)
    with pytest.raises(FieldError, match="does not dry") as caught:
        measure("residue", {"sample_g": 10.0, "residue_g": 0.8}, slow)
    assert caught.value.field == "residue_g"


def test_what_a_cleaner_leaves_in_the_dish_is_not_taken_for_resin() -> None:
    water = BathLiquid(solvent("water_based"), 100.0, 1.12)
    with pytest.raises(FieldError, match="leaves in the dish") as caught:
        measure("residue", {"sample_g": 10.0, "residue_g": 0.8}, water)
    assert caught.value.field == "residue_g"


def test_the_residue_cannot_outweigh_the_sample() -> None:
    problems = INSTRUMENTS["residue"].problems({"sample_g": 10.0, "residue_g": 25.8})
    assert [problem.field for problem in problems] == ["residue_g"]
    assert "Take off the dish" in problems[0].message


def test_the_help_warns_of_the_oven() -> None:
    """Solvent vapour from a dish in a hot oven is an ignition hazard."""
    assert "hot oven" in INSTRUMENTS["residue"].help
