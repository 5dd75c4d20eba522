"""Purity by volume and by mass, held against published alcohol tables."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.errors import DomainError
from app.domain.instruments import BathLiquid, measure
from app.domain.solvents import SOLVENTS, solvent
from app.domain.solvents.purity import (
    converted_words,
    in_mass_percent,
    mass_percent,
    said_twice,
    usual_basis,
    volume_percent,
)
from tests.domain.solvents.test_solvents import OIML_R22

USP_VOLUME_TO_MASS = ((10, 8.05), (20, 16.27), (30, 24.67))
"""USP 29, alcoholometric table (after National Bureau of Standards Bulletin 9, 424): percent of
ethanol by volume at 15.56 C, and by weight."""
CRC_ISOPROPANOL = ((60, 0.8824), (80, 0.8341))
CRC_PURE_ISOPROPANOL = 0.7848
"""CRC Handbook, 102nd ed., concentrative properties of aqueous solutions: mass percent, g/cm3 at
20 C, and that of the pure liquid."""
LEBO_ISOPROPANOL = ((65.22, 0.87003), (85.09, 0.82282), (90.35, 0.80866))
LEBO_PURE_ISOPROPANOL = 0.78556
"""Lebo, J. Am. Chem. Soc. 43 (1921) 1005, at 20 C."""


@pytest.mark.parametrize("by_volume, by_mass", USP_VOLUME_TO_MASS)
def test_weak_ethanol_agrees_with_the_pharmacopoeia(by_volume: float, by_mass: float) -> None:
    """0.15 points: its volumes are taken at 15.56 C instead of 20 C."""
    assert mass_percent(solvent("ethanol"), by_volume) == pytest.approx(by_mass, abs=0.15)


@pytest.mark.parametrize("by_mass", [50, 70, 80, 85, 92.4, 96, 99])
def test_ethanol_agrees_with_the_legal_table(by_mass: float) -> None:
    """OIML R 22: volume percent is mass share times density over the pure liquid's; 0.05 points."""

    def legal(share: float) -> float:
        return sum(a * share**k for k, a in enumerate(OIML_R22))

    expected = by_mass * legal(by_mass / 100) / legal(1.0)
    assert volume_percent(solvent("ethanol"), by_mass) == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize(
    "rows, pure",
    [(CRC_ISOPROPANOL, CRC_PURE_ISOPROPANOL), (LEBO_ISOPROPANOL, LEBO_PURE_ISOPROPANOL)],
)
def test_isopropanol_agrees_with_handbook_densities(
    rows: tuple[tuple[float, float], ...], pure: float
) -> None:
    """0.15 points: the two sources' pure liquids differ by 0.0008 g/mL."""
    for by_mass, density_g_ml in rows:
        expected = by_mass * density_g_ml / pure
        assert volume_percent(solvent("ipa"), by_mass) == pytest.approx(expected, abs=0.15)
        assert mass_percent(solvent("ipa"), expected) == pytest.approx(by_mass, abs=0.2)


@given(key=st.sampled_from(["isopropanol", "ethanol", "acetone"]), by_mass=st.floats(1, 100))
def test_there_and_back_is_the_same(key: str, by_mass: float) -> None:
    liquid = solvent(key)
    by_volume = volume_percent(liquid, by_mass)
    assert by_mass <= by_volume + 1e-9  # water is the denser of the two
    assert mass_percent(liquid, by_volume) == pytest.approx(by_mass, abs=1e-6)


def test_the_ends_are_the_same_in_both() -> None:
    for key in ("isopropanol", "ethanol", "acetone"):
        assert mass_percent(solvent(key), 100.0) == pytest.approx(100.0, abs=1e-4)
        assert mass_percent(solvent(key), 0.0) == 0.0
    with pytest.raises(DomainError, match="between 0 and 100"):
        mass_percent(solvent("ipa"), 101.0)


def test_only_alcohols_are_labelled_by_volume() -> None:
    by_volume = {key for key, item in SOLVENTS.items() if usual_basis(item) == "volume_percent"}
    assert by_volume == {"isopropanol", "ethanol"}


def test_a_purity_is_taken_in_the_basis_it_was_given_in() -> None:
    ipa = solvent("ipa")
    assert in_mass_percent(ipa, 91.0, None) == 91.0
    assert in_mass_percent(ipa, None, 91.0) == pytest.approx(87.6, abs=0.1)
    assert in_mass_percent(ipa, None, None) is None
    assert said_twice("p", 91.0, 91.0)[0].field == "p"
    assert said_twice("p", 91.0, None) == [] == said_twice("p", None, 91.0)
    assert converted_words(ipa, 87.62, "mass_percent") == "87.62 % by mass is 91.0 % by volume."


def test_fresh_91_volume_percent_holds_no_resin() -> None:
    """As mass percent it would read as 3.5 %: densities of Lebo 1921 between 85.09 and 90.35 %."""
    by_mass = 91.0 * LEBO_PURE_ISOPROPANOL / 0.8158  # g/mL at 87.6 %, between Lebo's rows
    density_g_ml = 0.82282 + (by_mass - 85.09) / (90.35 - 85.09) * (0.80866 - 0.82282)
    values = {"density_g_ml": density_g_ml, "temperature_c": 20.0}

    def resin(purity: float) -> float:
        return measure("hydrometer", values, BathLiquid(solvent("ipa"), purity, 1.12)).mass_percent

    assert abs(resin(mass_percent(solvent("ipa"), 91.0))) < 0.4
    assert resin(91.0) == pytest.approx(3.5, abs=0.4)
