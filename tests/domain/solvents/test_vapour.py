"""Vapour: the limits of a country, what a data sheet gives of it, the pressure between two rows."""

import math
from dataclasses import replace
from datetime import date, timedelta

import pytest

from app.domain.air import VAPOURS
from app.domain.errors import DomainError
from app.domain.solvents import SOLVENTS
from app.domain.solvents.own import Sheet, key_of, pressure_pa, sheet_of
from app.domain.solvents.vapour import LIMITS_AS_OF, REVIEW_AFTER, Limit, Paper, Vapour
from app.domain.solvents.waste import (
    FLAMMABLE,
    FLASH_UNKNOWN,
    HIGH_FLASH,
    IGNITABLE,
    NO_D001,
    NOT_TO_DRAIN,
    SKIN,
    UNTESTED,
    WATER,
)

TEXT = Paper("List A", "text")
SHEET = Paper("its data sheet", "data sheet")
DAY = date(2026, 3, 2)
HEPTANE = Sheet(
    "Heptane", 0.684, 20.0, flash_point_c=-4.0, boiling_point_c=98.4, vapour_pressure_hpa=47.4,
    limit_ppm=400.0, molar_mass_g_mol=100.2, sheet_on=DAY,
)  # fmt: skip


def vapour(*limits: Limit) -> Vapour:
    return Vapour(60.1, ((0.0, 1_000.0), (20.0, 4_000.0), (40.0, 14_000.0)), limits=limits)


# Limits.


def test_a_paper_says_how_it_was_read_but_for_a_data_sheet() -> None:
    assert str(TEXT) == "List A; text"
    assert str(SHEET) == "its data sheet"
    assert Limit("8 hours", 400.0, TEXT).source == "List A; text"


def test_a_limit_is_looked_up_again_after_its_time() -> None:
    limit = Limit("8 hours", 400.0, TEXT, as_of=DAY)
    due = DAY + REVIEW_AFTER
    assert limit.review_on == due
    assert [limit.is_review_due(due + timedelta(days=n)) for n in (-1, 0, 1)] == [
        False, True, True,
    ]  # fmt: skip
    assert not limit.is_review_due(due, looked_on=DAY + timedelta(days=1))
    assert limit.is_review_due(due, looked_on=DAY - timedelta(days=1))
    undated = replace(limit, as_of=None)
    assert (undated.review_on, undated.is_review_due(DAY)) == (None, True)
    assert Limit("8 hours", 400.0, TEXT).as_of == LIMITS_AS_OF


def test_the_limits_of_a_country_stand_apart_from_those_of_others() -> None:
    short = Limit("15 minutes", 500.0, TEXT, where=("one",))
    strict = Limit("8 hours", 200.0, TEXT, where=("one", "two"))
    loose = Limit("8 hours", 400.0, TEXT, where=("one",))
    foreign = Limit("8 hours", 100.0, TEXT, where=("three",))
    own = Limit("8 hours", 300.0, SHEET)
    leave = Limit("danger to life", 2_000.0, TEXT, is_danger=True)
    found = vapour(loose, leave, strict, foreign, short, own)
    assert found.held_in("one") == (short, strict, own, loose)
    assert found.held_in("two") == (strict, own)
    assert found.held_elsewhere("one") == (foreign,)
    assert found.held_elsewhere("two") == (loose, foreign, short)
    assert (found.leave_at, vapour(loose).leave_at) == (leave, None)


# Pressure between two rows.


def test_between_two_rows_the_logarithm_goes_straight_in_the_reciprocal_temperature() -> None:
    """Clausius-Clapeyron with a heat of evaporation that stays the same: by hand at 10 C."""
    share = (1 / 283.15 - 1 / 273.15) / (1 / 293.15 - 1 / 273.15)
    assert vapour().pressure(10.0) == pytest.approx(1_000 * 4**share)
    assert [vapour().pressure(celsius) for celsius in (0.0, 20.0, 40.0)] == pytest.approx(
        [1_000, 4_000, 14_000]
    )
    for celsius in (-0.1, 40.1):
        with pytest.raises(DomainError, match=r"^The temperature is outside 0 to 40 °C\.$"):
            vapour().pressure(celsius)


# What a data sheet gives.


def test_a_sheet_gives_the_vapour_its_limit_and_its_lower_flammable_limit() -> None:
    found = VAPOURS[key_of(HEPTANE)]
    assert found.molar_mass_g_mol == 100.2
    assert found.pressure(20.0) == pytest.approx(4_740, rel=1e-3)
    assert found.held == (Limit("8 hours", 400.0, SHEET, as_of=DAY),)
    assert found.limits_source == "data sheet of 2026-03-02"
    at_flash = pressure_pa(HEPTANE, -4.0) / 101_325
    assert found.lower_percent is not None
    assert found.lower_percent == pytest.approx(80 * at_flash)  # a fifth below; from memory
    assert found.lower_percent <= 100 * at_flash
    # IEC 60079-20-1 (2010): heptane 0.85 % in air; from memory
    assert found.lower_percent == pytest.approx(0.85, abs=0.45)
    assert (found.upper_percent, found.has_skin_notation) == (None, False)


def test_what_a_sheet_leaves_out_is_left_out_of_its_vapour() -> None:
    def of(**changes: object) -> Vapour:
        return VAPOURS[key_of(replace(HEPTANE, **changes))]  # type: ignore[arg-type]

    assert of(limit_ppm=None).held == ()
    undated = of(sheet_on=None)
    assert undated.held[0].source == "its data sheet, without a date"
    assert (undated.held[0].as_of, undated.limits_source) == (None, "data sheet without a date")
    assert of(vapour_pressure_hpa=None).lower_percent is None
    assert of(flash_point_c=None).lower_percent is None
    for lacks in (
        {"molar_mass_g_mol": None},
        {"boiling_point_c": None, "vapour_pressure_hpa": None},
    ):
        with pytest.raises(KeyError):
            of(**lacks)


def test_without_a_boiling_point_troutons_rule_gives_one() -> None:
    """Trouton's rule, 88 J/(mol K) (from memory): heptane boils at 98.4 C; it comes to within 8."""
    by_pressure = SOLVENTS[key_of(replace(HEPTANE, boiling_point_c=None))]
    assert by_pressure.boiling_point_c == pytest.approx(98.4, abs=8)
    ratio = math.log(4_740 / 101_325)
    assert by_pressure.boiling_point_c == pytest.approx(
        293.15 * (1 - 8.314 / 88 * ratio) - 273.15, abs=0.5
    )
    neither = replace(HEPTANE, boiling_point_c=None, vapour_pressure_hpa=None)
    assert math.isnan(SOLVENTS[key_of(neither)].boiling_point_c)


@pytest.mark.parametrize(
    "changes, hazards, status",
    [
        ({}, (FLAMMABLE, SKIN, WATER), IGNITABLE),
        ({"flash_point_c": 59.9}, (FLAMMABLE, SKIN, WATER), IGNITABLE),
        ({"flash_point_c": 60.0}, (SKIN, WATER), HIGH_FLASH),
        ({"flash_point_c": None}, (FLASH_UNKNOWN, SKIN, WATER), UNTESTED),
        ({"flash_point_c": None, "has_no_flash": True}, (SKIN, WATER), HIGH_FLASH),
        (
            {
                "flash_point_c": None, "has_no_flash": True, "density_g_ml": 1.02,
                "boiling_point_c": 100.0, "molar_mass_g_mol": None, "vapour_pressure_hpa": None,
            },
            (SKIN, WATER, NOT_TO_DRAIN), NO_D001,
        ),
    ],
)  # fmt: skip
def test_its_waste_is_named_after_it_with_the_hazards_of_its_sheet(
    changes: dict[str, object], hazards: tuple[str, ...], status: str
) -> None:
    """40 CFR 261.21(a)(1): ignitable below 60 C; text read."""
    sheet = replace(HEPTANE, **changes)  # type: ignore[arg-type]
    waste = SOLVENTS[key_of(sheet)].waste
    assert waste is not None
    assert (waste.name, waste.contents) == (
        "Spent Heptane with resin", "Heptane, dissolved acrylate resin",
    )  # fmt: skip
    assert (waste.hazards, waste.status) == (hazards, status)


@pytest.mark.parametrize("text", ["26030", "2603022", "26a302", "261302", "260231"])
def test_a_day_that_is_none_makes_no_key(text: str) -> None:
    parts = key_of(HEPTANE).split(":")
    assert sheet_of(":".join([*parts[:-1], "260302"])) == HEPTANE
    assert sheet_of(":".join([*parts[:-1], text])) is None
