"""Instrument scales against published definitions and tables."""

import pytest
from chemicals.refractivity import ICUMSA_1974_brix, ICUMSA_1974_RIs
from CoolProp.CoolProp import PropsSI
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import FieldError
from app.domain.instruments import scales


def water_g_ml(kelvin: float) -> float:
    return float(PropsSI("D", "T", kelvin, "P", 101325, "Water")) / 1000


def test_specific_gravity_counts_water_as_one() -> None:
    """CoolProp water at 20 C and at 60 F (288.706 K)."""
    at_20 = scales.density_of_specific_gravity_20_20(0.8120)
    assert at_20 == pytest.approx(0.8120 * water_g_ml(293.15), abs=5e-6)
    at_60f = scales.density_of_specific_gravity_60_60(0.8120)
    assert at_60f == pytest.approx(0.8120 * water_g_ml((60 + 459.67) / 1.8), abs=5e-6)


def test_light_baume_and_api_degrees() -> None:
    """Baume 140/(130 + B), API 141.5/(131.5 + API), at 60 F; 10 degrees is water."""
    assert scales.density_of_light_baume(45) == pytest.approx(0.8000 * 0.99904, abs=5e-5)
    assert scales.density_of_api(45) == pytest.approx(0.8017 * 0.99904, abs=5e-5)
    for scale in (scales.density_of_light_baume, scales.density_of_api):
        assert scale(10) == pytest.approx(water_g_ml((60 + 459.67) / 1.8), abs=5e-6)


ROWS = [row for row in zip(ICUMSA_1974_brix, ICUMSA_1974_RIs, strict=True) if row[0] <= 85]


@pytest.mark.parametrize("brix_percent, index", ROWS)
def test_brix_agrees_with_the_sugar_table(brix_percent: float, index: float) -> None:
    """ICUMSA 1974 as carried by chemicals; the table has five decimals."""
    assert scales.index_of_brix(brix_percent) == pytest.approx(index, abs=1e-5)


@given(st.floats(0, 85))
def test_brix_is_found_back(brix_percent: float) -> None:
    index = scales.index_of_brix(brix_percent)
    assert scales.brix_of_index(index) == pytest.approx(brix_percent, abs=1e-9)


def test_an_index_off_the_scale_is_refused() -> None:
    with pytest.raises(FieldError, match="off the Brix scale"):
        scales.brix_of_index(1.32)
