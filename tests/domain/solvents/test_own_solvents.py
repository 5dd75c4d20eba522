"""Solvents from their data sheets: their keys, what follows from the figures, what is left open."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.domain.air import VAPOURS
from app.domain.errors import DomainError, FieldError
from app.domain.instruments import BathLiquid, measure
from app.domain.roomlog.kinds.baths import Tank
from app.domain.roomlog.kinds.solvents import OWN_SOLVENTS, OwnSolvent
from app.domain.solvents import SOLVENTS, solvent
from app.domain.solvents.fit import why_not
from app.domain.solvents.own import (
    LONGEST_KEY,
    LOWER_LIMIT_SHARE,
    Sheet,
    key_of,
    missing,
    pressure_pa,
    sheet_of,
)
from app.domain.solvents.purity import in_mass_percent
from app.domain.solvents.waste import NOT_TO_DRAIN
from app.domain.storage import category_of_solvent, category_of_stream
from app.domain.waste.measures import highest_fill_percent
from app.domain.waste.streams import STREAMS, fits_bath, stream_of_bath, why_apart
from tests.oracles import Ask

HEPTANE = Sheet("Heptane", 0.684, 20.0, -4.0, boiling_point_c=98.4, vapour_pressure_hpa=48.0,
                limit_ppm=400.0, molar_mass_g_mol=100.2, sheet_on=date(2025, 3, 1))  # fmt: skip
LACTATE = Sheet(
    "Ethyl lactate", 1.034, 20.0, 46.0, boiling_point_c=154.0, sheet_on=date(2024, 9, 1)
)
BLEND = Sheet("Print wash 3 (low odour)", 0.95, 25.0, has_no_flash=True, vapour_pressure_hpa=0.4)
DENATURED = Sheet("Denatured alcohol 95", 0.805, 20.0, 13.0, boiling_point_c=78.0,
                  vapour_pressure_hpa=59.0, limit_ppm=1000.0, molar_mass_g_mol=46.1)  # fmt: skip
BARE = Sheet("Cleaner", 0.9)
ALL = (HEPTANE, LACTATE, BLEND, DENATURED, BARE)
"""Figures as data sheets print them; from memory."""
NOW = datetime(2026, 3, 2, 9, tzinfo=UTC)


def made(sheet: Sheet) -> str:
    return key_of(sheet)


@pytest.mark.parametrize("sheet", ALL, ids=lambda sheet: sheet.name)
def test_a_key_carries_its_sheet_whole(sheet: Sheet) -> None:
    assert sheet_of(key_of(sheet)) == sheet
    assert SOLVENTS[key_of(sheet)].name == sheet.name
    assert key_of(sheet) in SOLVENTS
    assert key_of(sheet) not in list(SOLVENTS)


@given(
    name=st.text(st.characters(categories=["L", "N", "P", "S", "Zs"]), min_size=1, max_size=6)
    .map(str.strip)
    .filter(lambda name: bool(name) and name.isprintable()),
    density=st.integers(500, 2500),
    flash=st.none() | st.integers(-60, 300),
)
def test_any_name_and_figures_come_back(name: str, density: int, flash: int | None) -> None:
    sheet = Sheet(name, density / 1000, flash_point_c=flash)
    key = key_of(sheet)
    if len(key) <= LONGEST_KEY:
        assert sheet_of(key) == sheet


@pytest.mark.parametrize(
    "key",
    ["own", "own:", "own:X", "own:X:9:20:::::::", "own:X:abc:20:::::::", "own::0.7:20::::::",
     "own:X:0.7:20:::::::", "own:X:0.7::::::::", "own:X:0.7:20:::::::250230", "own:X:nan:20::::::",
     "own:X:0.7:20::::::99", "isopropanol"],
)  # fmt: skip
def test_what_is_no_such_key_is_no_solvent(key: str) -> None:
    assert sheet_of(key) is None
    assert key == "isopropanol" or key not in SOLVENTS


def test_vapour_pressure_agrees_with_the_equation_of_state(ask: Ask) -> None:
    """CoolProp, n-heptane: 5 % with both figures of the sheet; with the boiling point alone, by
    Trouton's rule, it errs to the high side, by 40 % at most."""
    for celsius in (10.0, 20.0, 30.0, 40.0):
        question = ("P", "T", celsius + 273.15, "Q", 0, "n-Heptane")
        expected = ask("CoolProp.CoolProp.PropsSI", *question, unit="Pa")
        assert pressure_pa(HEPTANE, celsius) == pytest.approx(expected, rel=0.05)
        alone = replace(HEPTANE, vapour_pressure_hpa=None)
        assert expected < pressure_pa(alone, celsius) < 1.4 * expected


def test_density_follows_the_temperature_as_that_of_heptane(ask: Ask) -> None:
    """CoolProp, n-heptane; 0.003 g/mL, the uncertainty that is counted with."""
    for celsius in (10.0, 30.0):
        question = ("D", "T", celsius + 273.15, "P", 101_325, "n-Heptane")
        expected = ask("CoolProp.CoolProp.PropsSI", *question, unit="kg/m3") / 1000
        ours = SOLVENTS[made(HEPTANE)].density_g_ml(celsius, 100.0)
        assert ours == pytest.approx(expected, abs=0.003)


@pytest.mark.parametrize("key", ["isopropanol", "ethanol", "acetone"])
def test_the_lower_limit_lies_by_the_flash_point(key: str) -> None:
    """IEC 60079-20-1 (2010) has both: the share counted with is the lowest of the three."""
    known, vapour = solvent(key), VAPOURS[key]
    assert known.flash_point_c is not None
    assert vapour.lower_percent is not None
    coldest = max(known.flash_point_c, vapour.pressure_pa[0][0])
    share = vapour.lower_percent / (100 * vapour.pressure(coldest) / 101_325)
    assert known.flash_point_c < coldest or share == pytest.approx(LOWER_LIMIT_SHARE, abs=0.1)
    ours = VAPOURS[made(HEPTANE)].lower_percent
    assert ours == pytest.approx(1.05, abs=0.2)  # of n-heptane, from memory


def test_each_figure_decides_what_it_is_for() -> None:
    classes = {sheet.name: category_of_solvent(SOLVENTS[made(sheet)]) for sheet in ALL}
    assert list(classes.values()) == [2, 3, None, 2, 2]
    flammable = {sheet.name for sheet in ALL if SOLVENTS[made(sheet)].is_flammable}
    assert flammable == {"Heptane", "Ethyl lactate", "Denatured alcohol 95", "Cleaner"}
    assert category_of_stream(made(BARE)) == (
        2,
        "its flash point was not measured; taken as category 2",
    )
    assert category_of_stream(made(BLEND)) == (None, "")
    assert VAPOURS[made(HEPTANE)].held[0].ppm == 400.0
    assert all(made(sheet) not in VAPOURS for sheet in (LACTATE, BLEND, BARE))


def test_what_a_sheet_leaves_out_blocks_only_what_needs_it() -> None:
    assert missing(HEPTANE) == []
    assert [line.split(".")[0] for line in missing(LACTATE)] == [
        "No molar mass",
        "No exposure limit",
    ]
    said = [line.split(".")[0] for line in missing(BARE)]
    assert said == [
        "No flash point", "No boiling point and no vapour pressure", "No exposure limit",
        "No date on the data sheet",
    ]  # fmt: skip
    liquid = BathLiquid(SOLVENTS[made(BARE)], 100.0, 1.12)
    dense = {"density_g_ml": 0.92, "temperature_c": 20.0}
    assert measure("hydrometer", dense, liquid).mass_percent == pytest.approx(11.07, abs=0.1)
    with pytest.raises(FieldError, match="boiling point of Cleaner is not known"):
        measure("residue", {"sample_g": 10.0, "residue_g": 0.5}, liquid)
    with pytest.raises(FieldError, match="while it is fresh"):
        measure("refractometer", {"index": 1.40, "temperature_c": 20.0}, liquid)
    with pytest.raises(DomainError, match="not known"):
        SOLVENTS[made(BARE)].index(100.0)


def test_its_waste_is_a_stream_of_its_own() -> None:
    heptane, again = made(HEPTANE), made(replace(HEPTANE, sheet_on=date(2026, 1, 1)))
    assert stream_of_bath(heptane) == heptane
    assert STREAMS[heptane].is_flammable
    assert any("not known" in line for line in STREAMS[made(BARE)].hazards)
    assert not why_apart(again, heptane)
    assert fits_bath(heptane, again)
    assert not why_not(heptane, again)
    for other in ("isopropanol", made(DENATURED)):
        assert why_apart(stream_of_bath(other), heptane)
        assert not fits_bath(heptane, other)
        assert "Stop" in why_not(heptane, other)
    most = highest_fill_percent(heptane, 20.0, 55.0)
    assert most == pytest.approx(96.0, abs=0.5)


def test_a_purity_is_not_asked_of_it() -> None:
    entry = Tank(at=NOW, tank="t", name="T", capacity_l=20, solvent=made(DENATURED),
                 fresh_purity_percent=95.0)  # fmt: skip
    assert [problem.field for problem in entry.problems()] == ["fresh_purity_percent"]
    assert in_mass_percent(SOLVENTS[made(DENATURED)], 95.0, None) is None


def entered(**figures: object) -> OwnSolvent:
    values = {"name": "Heptane", "density_g_ml": 0.684} | figures
    return OwnSolvent(at=NOW, own_solvents=OWN_SOLVENTS, **values)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    "figures, field",
    [({"name": "Acetone"}, "name"), ({"name": "A" * 60}, "name"),
     ({"flash_point_c": 20.0, "has_no_flash": True}, "flash_point_c"),
     ({"flash_point_c": 120.0, "boiling_point_c": 98.0}, "flash_point_c"),
     ({"sheet_on": date(2027, 1, 1)}, "sheet_on")],
)  # fmt: skip
def test_what_cannot_be_is_refused(figures: dict[str, object], field: str) -> None:
    assert [problem.field for problem in entered(**figures).problems()] == [field]


AQUA = Sheet("Aqua clean", 1.02, 20.0, has_no_flash=True, boiling_point_c=100.0)


@pytest.mark.parametrize(
    "change, is_water",
    [
        ({}, True),
        ({"boiling_point_c": None}, True),
        ({"boiling_point_c": 90.0}, True),
        ({"boiling_point_c": 89.0}, False),
        ({"boiling_point_c": 110.0}, True),
        ({"boiling_point_c": 111.0}, False),
        ({"boiling_point_c": None, "vapour_pressure_hpa": 0.4}, False),
        ({"density_g_ml": 0.95}, True),
        ({"density_g_ml": 0.94}, False),
        ({"density_g_ml": 1.15}, True),
        ({"density_g_ml": 1.16}, False),
        ({"molar_mass_g_mol": 20.0}, True),
        ({"molar_mass_g_mol": 21.0}, False),
        ({"has_no_flash": False}, False),
        ({"has_no_flash": False, "flash_point_c": 40.0}, False),
    ],
    ids=str,
)
def test_a_cleaner_of_water_is_known_by_its_sheet(change: dict[str, float], is_water: bool) -> None:
    sheet = replace(AQUA, **change)  # type: ignore[arg-type]
    one = SOLVENTS[made(sheet)]
    assert (one.is_watery, one.fresh_varies) == (is_water, is_water)
    assert one.is_hygroscopic is not is_water
    assert (NOT_TO_DRAIN in one.waste.hazards) is is_water
    assert any("Taken as a water-based cleaner" in line for line in missing(sheet)) is is_water


@pytest.mark.parametrize(
    "method, values",
    [("hydrometer", {"density_g_ml": 1.024, "temperature_c": 20.0}),
     ("residue", {"sample_g": 10.0, "residue_g": 0.8})],
)  # fmt: skip
def test_what_cannot_tell_resin_in_water_is_refused_of_an_own_cleaner_too(
    method: str, values: dict[str, float]
) -> None:
    """8 g of surfactant in 100 g of a fresh cleaner would count as 8 % resin."""
    liquid = BathLiquid(SOLVENTS[made(AQUA)], 100.0, 1.12, 0.02)
    with pytest.raises(FieldError, match="Use a refractometer"):
        measure(method, values, liquid)
