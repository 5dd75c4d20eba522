"""Telling water from resin."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.baths.conventions import bath_density, volume_fraction
from app.domain.baths.water import (
    WaterSplit,
    from_density_and_index,
    from_density_and_residue,
    from_density_with_baseline,
    water_that_looks_alike,
)
from app.domain.errors import DomainError, FieldError
from app.domain.instruments import Baseline, BathLiquid
from app.domain.solvents import solvent

IPA = solvent("isopropanol")
BATH = BathLiquid(IPA, 99.0, 1.12)
RESIN_INDEX = 1.49  # from memory


def bath(resin: float, water: float, temperature_c: float = 20.0) -> tuple[float, float]:
    """Density and index of a made-up bath: resin in % of the bath, water in % of its solvent."""
    fresh = IPA.density_g_ml(temperature_c, 100 - water)
    density = bath_density(resin / 100, BATH.resin_density_at(temperature_c), fresh)
    phi = volume_fraction(resin / 100, 1.12, IPA.density_g_ml(20, 100 - water))
    return density, phi * RESIN_INDEX + (1 - phi) * IPA.index(100 - water)


@pytest.mark.parametrize("residue, water", [(0, 10.03), (6, 4.12), (8, 2.14)])
def test_a_residue_leaves_the_rest_of_the_density_to_water(residue: float, water: float) -> None:
    """0.8103 g/mL: solvent 0.81030, 0.79625, 0.79127 by algebra, water from the handbook fit."""
    split = from_density_and_residue(0.8103, 20, residue, BATH)
    solvent_density = (1 - residue / 100) / (1 / 0.8103 - residue / 100 / 1.12)
    assert IPA.density_g_ml(20, 100 - split.water_percent) == pytest.approx(solvent_density)
    assert split.water_percent == pytest.approx(water, abs=0.01)
    assert split.resin_percent == residue
    assert split.taken_up_percent == pytest.approx(water - 1, abs=0.01)
    assert not split.is_apparent


def test_water_taken_up_is_suspected_only_beyond_twice_its_uncertainty() -> None:
    wet = from_density_and_residue(0.8103, 20, 6, BATH)
    assert wet.is_water_suspected
    assert "Water uptake suspected" in wet.statement
    dry = from_density_and_residue(bath(8, 1.3)[0], 20, 8, BATH)
    assert not dry.is_water_suspected
    assert dry.taken_up_percent == pytest.approx(0.3, abs=0.01)


def test_density_and_index_give_back_what_the_bath_was_made_of() -> None:
    split = from_density_and_index(*_with_temperature(bath(7.0, 5.0)), BATH)
    assert split.resin_percent == pytest.approx(7.0, abs=1e-6)
    assert split.water_percent == pytest.approx(5.0, abs=1e-6)


@pytest.mark.oracle
def test_density_and_index_agree_with_a_general_solver() -> None:
    """scipy.optimize.fsolve on both equations at once."""
    from scipy.optimize import fsolve

    density, index = bath(7.0, 5.0)
    split = from_density_and_index(density, 20, index, BATH)

    def misses(unknown: tuple[float, float]) -> list[float]:
        made = bath(unknown[0], unknown[1])
        return [1000 * (made[0] - density), 1000 * (made[1] - index)]

    resin, water = fsolve(misses, (5.0, 2.0))
    assert split.resin_percent == pytest.approx(resin, abs=1e-6)
    assert split.water_percent == pytest.approx(water, abs=1e-6)
    assert split.resin_percent == pytest.approx(7.0, abs=1e-6)


def test_both_channels_together_are_sure_to_a_third_of_a_percent() -> None:
    """0.001 g/mL and 0.0003 of index, solved as two linear equations: 0.33 and 0.41 %."""
    split = from_density_and_index(*_with_temperature(bath(2.0, 1.5)), BATH)
    assert split.resin_sd_percent == pytest.approx(0.33, abs=0.03)
    assert split.water_sd_percent == pytest.approx(0.41, abs=0.06)


def _with_temperature(made: tuple[float, float]) -> tuple[float, float, float]:
    return made[0], 20.0, made[1]


def test_a_density_alone_is_called_apparent_and_says_what_else_it_may_be() -> None:
    """0.7905 fresh, 0.8152 now: 10.299 % by plain algebra."""
    liquid = BathLiquid(IPA, 99.0, 1.12, Baseline(0.7905, None, 20.0))
    split = from_density_with_baseline(0.8152, 20, liquid)
    assert split.resin_percent == pytest.approx(10.299, abs=0.001)
    assert split.is_apparent
    assert not split.is_water_suspected
    assert split.statement.startswith("Apparent: 10.3 % resin, or ")
    assert split.water_percent == pytest.approx(1.0)
    assert split.water_sd_percent > 2


def test_a_density_alone_needs_its_baseline() -> None:
    with pytest.raises(DomainError, match="this fill's fresh solvent"):
        from_density_with_baseline(0.8152, 20, BATH)
    index_only = BathLiquid(IPA, 99.0, 1.12, Baseline(None, 1.377, 20.0))
    with pytest.raises(DomainError, match="this fill's fresh solvent"):
        from_density_with_baseline(0.8152, 20, index_only)


def test_ten_percent_resin_reads_like_eleven_percent_water() -> None:
    """Both 0.81236 g/mL in 99 % isopropanol."""
    water = water_that_looks_alike(10, 20, BATH)
    assert water == pytest.approx(10.90, abs=0.01)
    assert IPA.density_g_ml(20, 100 - water) == pytest.approx(0.81236, abs=1e-5)


def test_a_baseline_shifts_the_water_curve() -> None:
    """A batch 0.002 g/mL denser than the table shows no water that it did not come with."""
    table = IPA.density_g_ml(20, 99.0)
    liquid = BathLiquid(IPA, 99.0, 1.12, Baseline(table + 0.002, None, 20.0))
    density = bath_density(0.08, 1.12, table + 0.002)
    split = from_density_and_residue(density, 20, 8.0, liquid)
    assert split.taken_up_percent == pytest.approx(0, abs=1e-6)


@pytest.mark.parametrize("key", ["tpm", "acetone", "water_based"])
def test_without_data_on_the_mixture_nothing_is_made_up(key: str) -> None:
    liquid = BathLiquid(solvent(key), 99.0, 1.25)
    with pytest.raises(DomainError, match="no data"):
        from_density_and_residue(0.9, 20, 5, liquid)
    with pytest.raises(DomainError, match="no data"):
        water_that_looks_alike(5, 20, liquid)


def test_readings_that_no_mixture_has_are_refused() -> None:
    with pytest.raises(DomainError, match="both readings"):
        from_density_and_index(0.79, 20, 1.45, BATH)


def test_resin_too_like_its_solvent_is_refused() -> None:
    liquid = BathLiquid(IPA, 99.0, 0.85, Baseline(0.7905, None, 20.0))
    with pytest.raises(FieldError, match="cannot tell"):
        from_density_with_baseline(0.80, 20, liquid)


@given(resin=st.floats(0, 25), water=st.floats(0, 20), temperature_c=st.floats(10, 35))
def test_what_was_mixed_is_told_apart(resin: float, water: float, temperature_c: float) -> None:
    density, index = bath(resin, water, temperature_c)
    by_residue = from_density_and_residue(density, temperature_c, resin, BATH)
    assert by_residue.water_percent == pytest.approx(water, abs=1e-6)
    by_index = from_density_and_index(density, temperature_c, index, BATH)
    assert by_index.resin_percent == pytest.approx(resin, abs=1e-5)
    assert by_index.water_percent == pytest.approx(water, abs=1e-5)
    assert isinstance(by_index, WaterSplit)
