"""The wrong solvent is stopped before the pour."""

import itertools

import pytest

from app.domain.solvents import SOLVENTS
from app.domain.solvents.fit import weaker, why_not


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
