"""What is asked about, and what is not: the scale of a currency, dark places, what stands."""

from dataclasses import replace

import pytest

from app.domain.plausible import Known, unlikely
from app.domain.plausible.words import source_words, wet_words
from app.domain.roomlog.kinds.curing import Irradiance
from app.domain.roomlog.kinds.solvents import OwnSolvent
from app.domain.roomlog.kinds.spending import PriceList
from tests.factories import NOW


def asked(entry: PriceList | Irradiance | OwnSolvent, known: Known) -> list[str]:
    return [one.field for one in unlikely(entry, known)]


def test_a_range_in_cents_is_left_out_for_a_currency_of_another_scale() -> None:
    dear = PriceList(at=NOW, prices="prices", weekly_budget_cents=9_000_000)
    assert asked(dear, Known()) == ["weekly_budget_cents"]
    assert asked(dear, Known(is_euro_like=False)) == []


@pytest.mark.parametrize("name", ["disposal_cents_per_kg", "labour_cents_per_hour"])
def test_an_emptied_rate_and_one_that_stands_are_not_asked_about(name: str) -> None:
    odd = replace(PriceList(at=NOW, prices="prices"), **{name: 5})
    assert asked(odd, Known()) == [name]
    assert asked(odd, Known(facts={f"was.{name}": 5})) == []
    assert asked(replace(odd, **{name: 0}), Known()) == []


def test_parts_are_dry_once_they_waited_as_long_as_asked() -> None:
    assert wet_words(19.0, 20.0).startswith(
        "The parts left the wash 19 min before. They should dry 20"
    )
    assert wet_words(20.0, 20.0) == wet_words(5.0, None) == wet_words(None, 20.0) == ""


def test_a_pour_of_no_tank_names_what_else_it_may_be() -> None:
    said = source_words("W-13", "Spent isopropanol with resin", ["Acetone", "Ethanol"])
    assert "W-13 takes “Spent isopropanol with resin” only" in said
    assert "this room has Acetone, Ethanol too" in said


def test_a_dark_place_makes_no_other_place_unlikely() -> None:
    reading = Irradiance(
        at=NOW, station="s", centre_mw_cm2=18, back_left_mw_cm2=0, front_right_mw_cm2=19
    )
    assert asked(reading, Known()) == []
    assert asked(replace(reading, front_right_mw_cm2=190), Known()) != []


# Boiling point, vapour pressure at 20 C, closed-cup flash point and molar mass of one liquid each,
# from memory of data sheets and handbooks: hydrocarbons, alcohols, esters, ethers, a terpene, an
# amide, a carbonate.
LIQUIDS = {
    "heptane": (98.4, 48, -4, 100.2), "acetone": (56.1, 247, -20, 58.1),
    "ethanol": (78.3, 58.7, 13, 46.1), "methanol": (64.6, 129, 11, 32.0),
    "2-propanol": (82.3, 43, 12, 60.1), "toluene": (110.6, 29, 4, 92.1),
    "ethyl lactate": (154, 2.2, 48, 118.1), "limonene": (176, 1.9, 48, 136.2),
    "pyrrolidone": (202, 0.32, 88, 99.1), "a glycol ether": (190, 0.37, 75, 148.2),
    "a slow one": (243, 0.03, 121, 206.3), "ethyl acetate": (77.1, 97, -4, 88.1),
    "butanone": (79.6, 105, -7, 72.1), "2-butoxyethanol": (171, 0.8, 64, 118.2),
    "hexane": (68.7, 162, -22, 86.2), "xylene": (138.4, 8.8, 27, 106.2),
    "1-butanol": (117.7, 6.2, 35, 74.1), "a carbonate": (242, 0.04, 132, 102.1),
    "dibasic esters": (200, 0.2, 100, 160.0),
}  # fmt: skip
BY_VAPOUR_ALONE = ("heptane", "toluene")
"""Light hydrocarbons: their flash point in F, read as C, is told apart by the vapour alone."""
PASSES = ("acetone", "hexane", "butanone", "ethyl acetate")
"""So near -40, where both scales meet, that boiling point and flash point alone tell nothing."""


def sheet(boils_c: float, hpa: float | None, flash_c: float, mass: float | None = 90) -> OwnSolvent:
    return OwnSolvent(
        at=NOW, own_solvents="own", name="One", density_g_ml=0.8, boiling_point_c=boils_c,
        vapour_pressure_hpa=hpa, flash_point_c=flash_c, limit_ppm=100, molar_mass_g_mol=mass,
    )  # fmt: skip


@pytest.mark.parametrize("name", LIQUIDS)
def test_the_figures_of_an_honest_sheet_fit_together(name: str) -> None:
    boils_c, hpa, flash_c, mass = LIQUIDS[name]
    for one in (hpa, None):
        for other in (mass, None):
            assert asked(sheet(boils_c, one, flash_c, other), Known()) == []
    for wrong in (hpa * 30, hpa / 30):
        assert asked(sheet(boils_c, wrong, flash_c), Known())
    assert asked(sheet(1.8 * boils_c + 32, hpa, flash_c), Known())


@pytest.mark.parametrize("name", sorted(set(LIQUIDS) - {"hexane"}))
def test_a_flash_point_in_fahrenheit_is_asked_about(name: str) -> None:
    boils_c, hpa, flash_c, mass = LIQUIDS[name]
    read_f = 1.8 * flash_c + 32
    assert asked(sheet(boils_c, hpa, read_f, mass), Known()) == ["flash_point_c"]
    if name not in (*PASSES, *BY_VAPOUR_ALONE):
        assert asked(sheet(boils_c, None, read_f, None), Known()) == ["flash_point_c"]


def test_the_question_says_what_would_fit() -> None:
    (found,) = unlikely(sheet(82.3, None, 53.6, None), Known())
    assert "boils at 82 C usually flashes between -28 C and 31 C" in found.words


def test_a_flash_point_far_from_its_vapour_is_asked_about() -> None:
    assert asked(sheet(98.4, 48, -40), Known()) == ["flash_point_c"]
    assert asked(sheet(98.4, 48, 40), Known()) == ["flash_point_c"]
