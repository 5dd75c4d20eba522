"""Flash points of mixtures, against what was computed elsewhere and what was measured."""

import math
from dataclasses import replace

import pytest

from app.domain.solvents.flash import OF_ANOTHER, departure, mixed_flash_c
from app.domain.solvents.own import Sheet, key_of
from tests.oracles import Ask

SLOW = "tripropylene_glycol_methyl_ether"
ISOPROPANOL_CAS, TPM_CAS = "67-63-0", "20324-33-8"


@pytest.mark.parametrize(
    "percent, flash_c", [(1, 70.0), (2, 55.0), (3, 48.0), (5, 39.0), (10, 29.0)]
)
def test_a_little_alcohol_brings_a_slow_bath_down(percent: float, flash_c: float) -> None:
    """Worked out by hand before, by Raoult's law with a lower limit of 2.0 % (NIOSH 0359)."""
    found = mixed_flash_c(SLOW, "isopropanol", percent)
    assert found == pytest.approx(flash_c, abs=1.0)


@pytest.mark.parametrize(
    "solvent, measured_c, source",
    [
        ("isopropanol", 12.0, "NIOSH Pocket Guide 0359: 53 F, closed cup"),
        ("ethanol", 13.0, "NIOSH Pocket Guide 0262: 55 F, closed cup; from memory"),
        ("acetone", -18.0, "NIOSH Pocket Guide 0004: 0 F, closed cup; from memory"),
    ],
)
def test_the_rule_finds_the_measured_flash_point_of_the_solvent_itself(
    solvent: str, measured_c: float, source: str
) -> None:
    """All of it: the lower limit alone says where it flashes, a few degrees low at the most."""
    found = mixed_flash_c(SLOW, solvent, 100.0)
    assert found is not None, source
    assert measured_c - 10 <= found <= measured_c + 2


def test_none_leaves_the_slow_solvent_as_it_is_and_more_never_makes_it_safer() -> None:
    found = [mixed_flash_c(SLOW, "isopropanol", percent) for percent in (0, 0.01, 0.5, 1, 5, 50)]
    assert found[0] == 120.0
    assert found == sorted(found, reverse=True)
    assert mixed_flash_c("water_based", "isopropanol", 0) is None
    assert mixed_flash_c("water_based", "acetone", 3) is None
    assert mixed_flash_c(SLOW, "water_based", 3) is None


@pytest.mark.parametrize("percent", [1.0, 2.0, 3.0, 5.0, 10.0])
def test_an_independent_vapour_pressure_gives_the_same_flash_points(
    ask: Ask, percent: float
) -> None:
    """Wagner constants of McGarry (1983), carried by chemicals, and its molar masses."""
    there = ask("flash_of_mixture", ISOPROPANOL_CAS, TPM_CAS, percent, 2.0, unit="C")
    assert mixed_flash_c(SLOW, "isopropanol", percent) == pytest.approx(there, abs=1.5)


# Engineering ToolBox, "Ethanol Freeze Protected Water Solutions", read: measured flash points of
# ethanol and water by mass percent, C.
MEASURED = ((5, 62), (10, 49), (20, 36), (30, 29), (40, 26), (50, 24), (60, 22), (70, 21), (80, 20),
            (90, 17), (96, 17))  # fmt: skip


@pytest.mark.parametrize("percent, measured_c", MEASURED)
def test_alcohol_in_water_flashes_no_later_than_was_measured(
    percent: float, measured_c: float
) -> None:
    """A caution: it may name a flash point that is too low, by no more than 11 C."""
    found = mixed_flash_c("water_based", "ethanol", percent)
    assert found is not None
    assert measured_c - 11 <= found <= measured_c + 0.5


@pytest.mark.parametrize("percent, measured_c", [(70, 18.0), (100, 12.0)])
def test_isopropanol_in_water_flashes_about_where_its_data_sheets_say(
    percent: float, measured_c: float
) -> None:
    """70 % by mass: 18 C, closed cup, data sheets of rubbing alcohol, from memory; pure: NIOSH
    Pocket Guide 0359, 53 F. No table of measured mixtures could be had."""
    found = mixed_flash_c("water_based", "isopropanol", percent)
    assert found == pytest.approx(measured_c, abs=6)


def test_more_alcohol_in_water_never_makes_it_safer() -> None:
    """And a few percent of it are enough for a liquid that burns: 2 % by mass lie below 60 C."""
    found = [mixed_flash_c("water_based", "isopropanol", percent) for percent in range(1, 100)]
    assert found == sorted(found, reverse=True)  # type: ignore[type-var]
    assert found[1] == pytest.approx(57, abs=1)  # worked by hand from the same constants


# Henry's law constants in mol/(m3 Pa) at 25 C and their slope in K: Snider and Dawson (1985) in the
# compilation of Sander, Atmos. Chem. Phys. 15 (2015) 4399; ethanol read, isopropanol from memory.
HENRY = {"ethanol": (1.9, 6600.0, 46.07, 3.3), "isopropanol": (1.3, 7500.0, 60.10, 2.0)}


@pytest.mark.parametrize(
    "alcohol, percent, near_c",
    [("ethanol", 3, 4), ("ethanol", 5, 4), ("isopropanol", 2, 6), ("isopropanol", 5, 6)],
)
def test_measured_solubility_of_the_vapour_puts_dilute_alcohol_at_the_same_flash_point(
    alcohol: str, percent: float, near_c: float
) -> None:
    """p = c / H(T) equals the lower limit (NIOSH: 3.3 % and 2.0 % of volume) at the flash point: no
    activity coefficient and no vapour pressure of ours in it."""
    at_25c, slope_k, molar_mass, lower_percent = HENRY[alcohol]
    moles_m3 = percent / 100 * 985_000 / molar_mass  # dilute, warm: about 985 kg/m3
    wanted = moles_m3 / (lower_percent / 100 * 101_325)
    there_c = 1 / (1 / 298.15 - math.log(at_25c / wanted) / slope_k) - 273.15
    assert mixed_flash_c("water_based", alcohol, percent) == pytest.approx(there_c, abs=near_c)


def test_what_has_no_flash_point_is_taken_as_water() -> None:
    """A cleaner by its data sheet, with or without a molar mass: the caution is that of water."""
    for molar_mass in (None, 18.0):
        sheet = Sheet("Clear wash", 1.02, 20.0, has_no_flash=True, molar_mass_g_mol=molar_mass)
        own = mixed_flash_c(key_of(sheet), "isopropanol", 2.0)
        assert own == pytest.approx(mixed_flash_c("water_based", "isopropanol", 2.0), abs=0.1)


@pytest.mark.parametrize(
    "quick, least, most", [("isopropanol", 3.0, 8.0), ("ethanol", 2.5, 6.0), ("acetone", 1.0, 3.0)]
)
def test_propylene_carbonate_drives_a_quick_solvent_out(
    quick: str, least: float, most: float
) -> None:
    """No measured activity coefficient could be had. Mixing alkanols with it takes up heat, the
    more the longer their chain (J. Chem. Eng. Data 41 (1996) 1397, abstract read): more than
    Raoult's law. The bounds are from memory, of alcohols and ketones in polar aprotic solvents."""
    assert least < departure("propylene_carbonate", quick) < most


def test_two_percent_alcohol_in_propylene_carbonate_by_hand() -> None:
    """x = 0.0335, g = 4.83: 12.5 kPa are wanted, which isopropanol has at 38 C (Antoine, from
    memory). Raoult alone would say 67 C, and no flag."""
    assert mixed_flash_c("propylene_carbonate", "isopropanol", 2.0) == pytest.approx(38, abs=1.5)


def test_what_is_not_known_is_taken_to_flash_early() -> None:
    sheet = Sheet("Cleaner 80", 0.9, 20.0, 80.0, boiling_point_c=190.0, molar_mass_g_mol=140.0)
    own, table = (mixed_flash_c(key, "isopropanol", 1.0) for key in (key_of(sheet), SLOW))
    assert own is not None
    assert table is not None
    assert own < 60.0 < table
    assert departure(SLOW, "isopropanol") == 1.0
    assert departure("propylene_carbonate", "heptane") == OF_ANOTHER


def test_a_sheet_without_a_molar_mass_gives_a_flash_point_that_errs_low() -> None:
    """Lower than with any molar mass of a wash, and not below that of pure isopropanol (12 C)."""
    sheet = Sheet("Slow", 0.95, 20.0, 65.0, boiling_point_c=190.0)
    bare = mixed_flash_c(key_of(sheet), "isopropanol", 1.0)
    assert bare is not None
    for molar_mass in (90.0, 150.0, 206.0, 299.0):
        heavy = key_of(replace(sheet, molar_mass_g_mol=molar_mass))
        assert bare < (mixed_flash_c(heavy, "isopropanol", 1.0) or 0.0)
    # By hand: x = 0.0481, times 10^((1 - x)^2) = 8.06 is 0.387; 5.2 kPa are wanted: 23 C (NIOSH
    # 0359 has 4.4 kPa at 20 C).
    assert bare == pytest.approx(23.4, abs=0.5)
    traces = mixed_flash_c(key_of(sheet), "isopropanol", 0.01)
    assert traces == 65.0


@pytest.mark.parametrize(
    "more",
    [{"molar_mass_g_mol": 150.0}, {"boiling_point_c": 190.0}, {"vapour_pressure_hpa": 0.4},
     {"boiling_point_c": 60.0}],
    ids=str,
)  # fmt: skip
def test_what_has_no_flash_point_and_is_no_water_errs_low_too(more: dict[str, float]) -> None:
    sheet = Sheet("Dense wash", 1.4, 20.0, has_no_flash=True, **more)  # type: ignore[arg-type]
    key = key_of(sheet)
    found = mixed_flash_c(key, "isopropanol", 1.0)
    water = mixed_flash_c("water_based", "isopropanol", 1.0)
    assert found is not None
    assert water is not None
    assert found < water - 20
    assert mixed_flash_c(key, "isopropanol", 0) is None
    assert mixed_flash_c(key, "acetone", 1.0) is not None


def test_the_bounds_of_what_is_taken_as_water() -> None:
    water = mixed_flash_c("water_based", "isopropanol", 2.0)
    for more in ({"boiling_point_c": 90.0}, {"boiling_point_c": 110.0}, {"molar_mass_g_mol": 20.0}):
        key = key_of(Sheet("Wash", 1.02, 20.0, has_no_flash=True, **more))  # type: ignore[arg-type]
        assert mixed_flash_c(key, "isopropanol", 2.0) == pytest.approx(water)
        assert mixed_flash_c(key, "acetone", 2.0) is None


def test_an_unknown_flash_point_stays_unknown() -> None:
    key = key_of(Sheet("Bare", 0.9, 20.0))
    assert mixed_flash_c(key, "isopropanol", 0) is None
    assert mixed_flash_c(key, "isopropanol", 1.0) is None
