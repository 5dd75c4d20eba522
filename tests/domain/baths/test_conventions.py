"""Saturation by mass, by volume and in g/L: worked values, dimensions, round trips."""

import numpy as np
import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.baths.conventions import (
    BASES,
    Basis,
    bath_density,
    concentration,
    from_mass_percent,
    mass_fraction,
    mass_fraction_of_density,
    to_mass_percent,
    volume_fraction,
)
from app.domain.errors import DomainError

IPA_99_G_ML = 0.78830
DENSITIES = st.tuples(st.floats(0.9, 2.0), st.floats(0.7, 1.3))


@pytest.mark.parametrize(
    "resin_g_ml, mass_percent", [(1.05, 12.892), (1.12, 13.634), (1.20, 14.467), (1.60, 18.402)]
)
def test_ten_percent_by_volume_is_more_by_mass(resin_g_ml: float, mass_percent: float) -> None:
    """Plain algebra: 100 mL of resin and 900 mL of solvent, weighed."""
    by_hand = 100 * 100 * resin_g_ml / (100 * resin_g_ml + 900 * IPA_99_G_ML)
    assert to_mass_percent(10.0, "volume_percent", resin_g_ml, IPA_99_G_ML) == pytest.approx(
        by_hand
    )
    assert by_hand == pytest.approx(mass_percent, abs=0.0005)


@pytest.mark.parametrize(
    "mass_percent, volume_percent, g_per_l",
    [(5, 3.572, 40.01), (10, 7.253, 81.24), (15, 11.048, 123.74), (20, 14.963, 167.59)],
)
def test_mass_percent_in_the_other_bases(
    mass_percent: float, volume_percent: float, g_per_l: float
) -> None:
    """Worked by hand for a resin of 1.12 g/mL in 99 % isopropanol."""
    by_volume = from_mass_percent(mass_percent, "volume_percent", 1.12, IPA_99_G_ML)
    by_litre = from_mass_percent(mass_percent, "g_per_l", 1.12, IPA_99_G_ML)
    assert by_volume == pytest.approx(volume_percent, abs=0.0005)
    assert by_litre == pytest.approx(g_per_l, abs=0.005)


def test_ten_percent_by_volume_holds_112_g_in_a_litre() -> None:
    """100 mL of a resin of 1.12 g/mL in a litre of bath."""
    mass = to_mass_percent(10.0, "volume_percent", 1.12, IPA_99_G_ML)
    assert from_mass_percent(mass, "g_per_l", 1.12, IPA_99_G_ML) == pytest.approx(112.0)
    assert bath_density(mass / 100, 1.12, IPA_99_G_ML) == pytest.approx(0.82147, abs=5e-6)


def test_the_formulas_keep_their_dimensions() -> None:
    """Pint: shares have none, a concentration is a mass in a volume."""
    unit = pint.UnitRegistry()
    resin, solvent = 1.12 * unit("g/mL"), 788.30 * unit("kg/m**3")
    share = 100 * unit("g") / (1 * unit("kg"))
    phi = volume_fraction(share, resin, solvent)
    assert phi.check("[]")
    assert phi.to("percent").magnitude == pytest.approx(7.253, abs=0.0005)
    assert mass_fraction(phi, resin, solvent).to("percent").magnitude == pytest.approx(10)
    content = concentration(share, resin, solvent)
    assert content.check("[mass]/[volume]")
    assert content.to("g/L").magnitude == pytest.approx(81.24, abs=0.005)
    density = bath_density(share, resin, solvent)
    assert density.check("[mass]/[volume]")
    assert mass_fraction_of_density(density, resin, solvent).check("[]")


@given(percent=st.floats(0, 95), basis=st.sampled_from(BASES), densities=DENSITIES)
def test_there_and_back_again(percent: float, basis: Basis, densities: tuple[float, float]) -> None:
    there = from_mass_percent(percent, basis, *densities)
    assert to_mass_percent(there, basis, *densities) == pytest.approx(percent, abs=1e-9)


@given(percent=st.floats(0, 94), basis=st.sampled_from(BASES), densities=DENSITIES)
def test_more_by_mass_is_more_in_every_basis(
    percent: float, basis: Basis, densities: tuple[float, float]
) -> None:
    less = from_mass_percent(percent, basis, *densities)
    assert from_mass_percent(percent + 1, basis, *densities) > less


@given(share=st.floats(0, 0.95), resin=st.floats(0.95, 2.0), solvent=st.floats(0.7, 0.9))
def test_the_share_is_found_back_from_the_density(
    share: float, resin: float, solvent: float
) -> None:
    density = bath_density(share, resin, solvent)
    assert mass_fraction_of_density(density, resin, solvent) == pytest.approx(share, abs=1e-12)


def test_whole_columns_are_converted_at_once() -> None:
    percents = np.array([0.0, 5.0, 10.0])
    by_volume = from_mass_percent(percents, "volume_percent", 1.12, IPA_99_G_ML)
    one_by_one = [
        from_mass_percent(p, "volume_percent", 1.12, IPA_99_G_ML) for p in (0.0, 5.0, 10.0)
    ]
    np.testing.assert_allclose(by_volume, one_by_one)


def test_an_unknown_basis_is_named() -> None:
    with pytest.raises(DomainError, match="mole_percent"):
        to_mass_percent(1.0, "mole_percent", 1.1, 0.8)  # type: ignore[arg-type]
    with pytest.raises(DomainError, match="Known: mass_percent"):
        from_mass_percent(1.0, "mole_percent", 1.1, 0.8)  # type: ignore[arg-type]
