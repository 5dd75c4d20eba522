"""The wrong solvent is stopped before the pour."""

import itertools

import pytest

from app.domain.solvents import SOLVENTS
from app.domain.solvents.fit import SPREAD_PERCENT, as_resin, other_purity, weaker, why_not


@pytest.mark.parametrize("key", SOLVENTS)
def test_a_bath_takes_its_own_solvent_under_any_of_its_names(key: str) -> None:
    assert why_not(key, key) == ""
    for alias in SOLVENTS[key].aliases:
        assert why_not(key, alias) == why_not(alias, key) == ""


@pytest.mark.parametrize("bath, poured", list(itertools.permutations(SOLVENTS, 2)))
def test_any_other_is_stopped_with_both_names(bath: str, poured: str) -> None:
    said = why_not(bath, poured)
    assert said.startswith("Stop")
    assert SOLVENTS[bath].name in said
    assert SOLVENTS[poured].name in said


def test_alcohol_into_a_slow_bath_is_called_flammable() -> None:
    assert "flammable" in why_not("tpm", "ipa")
    assert "flammable" not in why_not("ipa", "ethanol")


def test_what_nobody_knows_is_stopped() -> None:
    assert "Nobody knows" in why_not("ipa", "mystery")


def test_a_weaker_lot_is_asked_about() -> None:
    assert weaker(99, 99) == weaker(99, 97) == weaker(99, None) == ""
    assert "91 %" in weaker(99, 91)


def test_water_in_a_lot_is_said_as_the_resin_it_reads_like() -> None:
    """2-propanol at 20 C: 0.7854 g/mL pure, 0.8112 g/mL at 90 % by mass (handbook table of
    densities of aqueous solutions, from memory). Ideal volumes with resin of 1.10 g/mL."""
    by_hand = (1 / 0.7854 - 1 / 0.8112) / (1 / 0.7854 - 1 / 1.10)
    found = as_resin(SOLVENTS["isopropanol"], 100.0, 90.0, 1.10)
    assert found == pytest.approx(by_hand, abs=0.005)
    said = other_purity("isopropanol", 100.0, 90.0, 1.10)
    assert "90 % pure by mass" in said
    assert "reads like 11 % resin" in said
    assert "dry more slowly" in said


def test_a_purer_lot_hides_as_much_resin_as_the_weaker_one_shows() -> None:
    liquid = SOLVENTS["isopropanol"]
    assert as_resin(liquid, 90.0, 100.0, 1.10) < -0.1
    assert "hides 12 % resin" in other_purity("isopropanol", 90.0, 100.0, 1.10)


@pytest.mark.parametrize("lot", [97.0, 97.01, 99.0, 100.0])
def test_one_grade_is_not_talked_about(lot: float) -> None:
    assert other_purity("isopropanol", 99.0, lot, 1.10) == ""
    assert other_purity("isopropanol", 99.0, 96.9, 1.10)


def test_where_density_shows_no_water_nothing_is_said() -> None:
    assert other_purity("aqueous", 100.0, 50.0, 1.10) == other_purity("mystery", 99, 50, 1.1) == ""


@pytest.mark.parametrize(
    "bath, poured, harm",
    [
        (
            "tripropylene_glycol_methyl_ether", "isopropanol",
            "Even a little makes the bath and its waste flammable.",
        ),
        ("water_based", "isopropanol", "Even a little makes the bath and its waste flammable."),
        (
            "isopropanol", "water_based",
            "Water and solvent spoil each other, and the waste needs a separate drum.",
        ),
        (
            "water_based", "tripropylene_glycol_methyl_ether",
            "Water and solvent spoil each other, and the waste needs a separate drum.",
        ),
        (
            "isopropanol", "acetone",
            "The mixture washes and reads differently, and its waste needs a separate drum.",
        ),
        (
            "isopropanol", "tripropylene_glycol_methyl_ether",
            "The mixture washes and reads differently, and its waste needs a separate drum.",
        ),
    ],
)  # fmt: skip
def test_each_wrong_pair_says_what_it_does(bath: str, poured: str, harm: str) -> None:
    holds, comes = SOLVENTS[bath].name, SOLVENTS[poured].name
    assert why_not(bath, poured) == f"Stop: the bath holds {holds}, this is {comes}. {harm}"


def test_nobody_pours_what_nobody_knows() -> None:
    stop = "Stop. Nobody knows what this is. Do not pour anything until it is identified."
    assert why_not("isopropanol", "something") == why_not("something", "isopropanol") == stop


def test_a_lot_that_is_just_as_much_weaker_as_is_allowed_is_asked_about() -> None:
    limit = 99.0 - SPREAD_PERCENT
    assert weaker(99.0, limit) != ""
    assert weaker(99.0, limit + 0.01) == ""
    assert other_purity("isopropanol", 99.0, 99.0, 1.1) == ""
    weak = other_purity("isopropanol", 99.0, 91.0, 1.1)
    assert weak.endswith("Parts come out less clean and dry more slowly.")
