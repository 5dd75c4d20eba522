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


# Boiling point, vapour pressure at 20 C and closed-cup flash point of one liquid each, from memory
# of data sheets and handbooks: hydrocarbons, alcohols, esters, ethers, a terpene, an amide.
LIQUIDS = {
    "heptane": (98.4, 48, -4), "acetone": (56.1, 247, -20), "ethanol": (78.3, 58.7, 13),
    "methanol": (64.6, 129, 11), "2-propanol": (82.3, 43, 12), "toluene": (110.6, 29, 4),
    "ethyl lactate": (154, 2.2, 48), "limonene": (176, 1.9, 48), "pyrrolidone": (202, 0.32, 88),
    "a glycol ether": (190, 0.37, 75), "a slow one": (243, 0.03, 121),
    "ethyl acetate": (77.1, 97, -4), "butanone": (79.6, 105, -7), "2-butoxyethanol": (171, 0.8, 64),
}  # fmt: skip


def sheet(boils_c: float, hpa: float, flash_c: float) -> OwnSolvent:
    return OwnSolvent(
        at=NOW, own_solvents="own", name="One", density_g_ml=0.8, boiling_point_c=boils_c,
        vapour_pressure_hpa=hpa, flash_point_c=flash_c, limit_ppm=100, molar_mass_g_mol=90,
    )  # fmt: skip


@pytest.mark.parametrize("name", LIQUIDS)
def test_the_figures_of_an_honest_sheet_fit_together(name: str) -> None:
    boils_c, hpa, flash_c = LIQUIDS[name]
    assert asked(sheet(boils_c, hpa, flash_c), Known()) == []
    for wrong in (hpa * 30, hpa / 30):
        assert asked(sheet(boils_c, wrong, flash_c), Known())
    assert asked(sheet(1.8 * boils_c + 32, hpa, flash_c), Known())


def test_a_flash_point_far_from_its_vapour_is_asked_about() -> None:
    assert asked(sheet(98.4, 48, -40), Known()) == ["flash_point_c"]
    assert asked(sheet(98.4, 48, 40), Known()) == ["flash_point_c"]
