"""Flammable liquids against limits: categories after the regulation, sums worked by hand."""

from datetime import UTC, date, datetime

import pytest

from app.domain.solvents import SOLVENTS
from app.domain.storage import (
    GUESSED,
    LOWERED,
    REFERENCES,
    WORST,
    BathThere,
    Stored,
    category_of,
    category_of_key,
    category_of_solvent,
    category_of_stream,
    fire_area,
    fits_in,
    inventory,
)
from app.domain.supplies.state import ItemState, Lot
from app.domain.waste.drums import DrumState
from app.domain.waste.streams import STREAMS


@pytest.mark.parametrize(
    "flash_f, boiling_f, category",
    # 29 CFR 1910.106(a)(19): below 73.4 F and at most 95 F; below 73.4 F; 73.4 to 140; to 199.4 F.
    [(60, 90, 1), (60, 95, 1), (53, 181, 2), (73.3, 200, 2), (73.5, 200, 3), (139, 300, 3),
     (141, 300, 4), (199, 400, 4), (200, 400, None), (60, 96, 2)],
)  # fmt: skip
def test_categories_follow_the_regulation(
    flash_f: float, boiling_f: float, category: int | None
) -> None:
    assert category_of((flash_f - 32) / 1.8, (boiling_f - 32) / 1.8) == category


def test_what_has_no_flash_point_is_no_flammable_liquid() -> None:
    assert category_of(None, 100) is None
    assert category_of_solvent(SOLVENTS["water_based"]) is None
    assert category_of_solvent(SOLVENTS["tripropylene_glycol_methyl_ether"]) is None


def test_wash_alcohol_is_category_two() -> None:
    # Flash 53 F, boils at 181 F: NIOSH Pocket Guide 0359.
    assert category_of_solvent(SOLVENTS["isopropanol"]) == 2
    assert category_of_solvent(SOLVENTS["dipropylene_glycol_methyl_ether"]) == 4


def test_reference_figures_are_the_regulation_s_in_litres() -> None:
    litres = sorted({round(each.litres, 1) for each in REFERENCES})
    # 25, 60 and 120 US gal; 29 CFR 1910.106(d)(3), (e)(2)(ii)(b).
    assert litres == [94.6, 227.1, 454.2]
    assert all("1910.106" in each.source for each in REFERENCES)


ROOM = (
    Stored("drums", "W-1", 150.0, 2),
    Stored("tanks", "Alder", 40.0, 2),
    Stored("tanks", "Elder", 40.0, None),
    Stored("shelf", "Alcohol", 60.0, 2),
    Stored("shelf", "Glycol ether", 20.0, 4),
    Stored("drums", "empty", 0.0, 2),
)


def test_waste_counts_as_well_as_stock_and_baths() -> None:
    found = inventory(ROOM, 300)
    assert found.total_l == pytest.approx(270)
    assert found.litres(2) == pytest.approx(250)
    assert found.litres(where="drums") == pytest.approx(150)
    assert found.free_l == pytest.approx(30)
    assert not found.is_over
    assert [each.name for each in found.stored][:2] == ["Alder", "Elder"]


def test_what_does_not_fit_is_said_before_it_comes() -> None:
    found = inventory(ROOM, 300)
    assert fits_in(found, 30) == ""
    assert "310 L of flammable liquid" in fits_in(found, 40)
    assert fits_in(inventory(ROOM, None), 10_000) == ""
    assert inventory(ROOM, 200).is_over


@pytest.mark.parametrize(
    "limit_l, is_nearly_full",
    # 270 L are there; a twentieth of the limit is free at 270 / 0.95 = 284.2 L.
    [(None, False), (300, False), (284.3, False), (284.2, True), (270, True), (269, False)],
)
def test_an_area_with_a_twentieth_left_is_nearly_full(
    limit_l: float | None, is_nearly_full: bool
) -> None:
    assert inventory(ROOM, limit_l).is_nearly_full is is_nearly_full


def test_an_area_with_exactly_a_twentieth_left_is_nearly_full() -> None:
    assert inventory((Stored("drums", "W-1", 95.0, 2),), 100).is_nearly_full


@pytest.mark.parametrize(
    "flash_c, boiling_c, category",
    # The limits themselves, in whole degrees Celsius: GHS (Rev. 10), table 2.6.1.
    [(22.99, 35.0, 1), (22.99, 35.01, 2), (23.0, 35.0, 3), (60.0, 99.0, 3), (60.01, 99.0, 4),
     (93.0, 99.0, 4), (93.01, 99.0, None)],
)  # fmt: skip
def test_a_limit_reached_exactly_belongs_where_the_table_puts_it(
    flash_c: float, boiling_c: float, category: int | None
) -> None:
    assert category_of(flash_c, boiling_c) == category


def test_each_reference_figure_belongs_to_its_categories() -> None:
    # 29 CFR 1910.106(d)(3) and (e)(2)(ii)(b), in US gallons by category.
    gallons = {(each.applies_to, each.name.startswith("One storage cabinet")):
               round(each.litres / 3.785411784, 6) for each in REFERENCES}  # fmt: skip
    assert gallons == {
        ((1,), False): 25, ((2, 3, 4), False): 120, ((1, 2, 3), True): 60, ((4,), True): 120,
    }  # fmt: skip


def test_a_solvent_that_the_table_does_not_have_is_taken_as_highly_flammable() -> None:
    assert category_of_key("isopropanol") == 2
    assert category_of_key("dipropylene_glycol_methyl_ether") == 4
    assert category_of_key("tripropylene_glycol_methyl_ether") is None
    assert category_of_key("something of its own") == 2
    assert category_of_key(None) == 2


def test_the_most_flammable_liquid_that_may_be_in_a_drum_decides() -> None:
    assert category_of_stream("isopropanol_resin") == (2, "")
    assert category_of_stream("never heard of") == (2, GUESSED)
    assert category_of_stream("unknown") == (2, GUESSED)
    for key, stream in STREAMS.items():
        category, remark = category_of_stream(key)
        if len(stream.solvents) > 1:
            found = [category_of_key(solvent) for solvent in stream.solvents]
            assert category == min((each for each in found if each is not None), default=None)
            assert remark == WORST
        elif not stream.solvents and not stream.is_flammable and key != "unknown":
            assert (category, remark) == (None, "")
    assert category_of_stream("wipes")[1] in ("", GUESSED)


def _lot(name: str, litres: float) -> Lot:
    return Lot(name, litres, date(2026, 1, 5))


def test_the_fire_area_holds_baths_lots_and_drums_that_are_here() -> None:
    alcohol = ItemState(
        "ipa", "Alcohol", "solvent", "L", "isopropanol", lots=(_lot("A1", 20.0), _lot("A2", 10.0))
    )
    gloves = ItemState("gloves", "Gloves", "protection", lots=(_lot("G1", 100.0),))
    away = DrumState("W-0", "Old", stream="isopropanol_resin", volume_l=99.0,
                     is_shipped=True, shipped_at=datetime(2026, 2, 1, tzinfo=UTC))  # fmt: skip
    drums = [
        away,
        DrumState("W-1", "Amber", stream="isopropanol_resin", volume_l=150.0),
        DrumState("W-2", stream="unknown", volume_l=5.0),
    ]
    baths = [
        BathThere("alder", "Alder", 40.0, "isopropanol"),
        BathThere("elder", "Elder", 30.0, "tripropylene_glycol_methyl_ether"),
    ]
    found = fire_area(baths, [gloves, alcohol], drums, 300.0)
    assert found.stored == (
        Stored("tanks", "Alder", 40.0, 2, "", "alder"),
        Stored("tanks", "Elder", 30.0, None, "", "elder"),
        Stored("shelf", "Alcohol, lot A1", 20.0, 2, "", "ipa"),
        Stored("shelf", "Alcohol, lot A2", 10.0, 2, "", "ipa"),
        Stored("drums", "Amber", 150.0, 2, "", "W-1"),
        Stored("drums", "W-2 (not set up)", 5.0, 2, GUESSED, "W-2"),
    )
    assert found.limit_l == 300.0
    assert found.total_l == pytest.approx(225.0)


def test_the_largest_stands_first_within_its_place_and_equals_by_name() -> None:
    names = [("drums", "b", 1.0), ("attic", "z", 9.0), ("tanks", "b", 2.0), ("tanks", "a", 2.0),
             ("tanks", "c", 3.0), ("shelf", "s", 0.5), ("shelf", "none", 0.0)]  # fmt: skip
    found = inventory([Stored(where, name, litres, 2) for where, name, litres in names], None)
    assert [each.name for each in found.stored] == ["c", "a", "b", "s", "b", "z"]
    assert found.free_l is None
    assert not found.is_over


def test_what_fits_exactly_comes_in_and_a_drop_more_does_not() -> None:
    full = inventory(ROOM, 270.0)
    assert full.free_l == pytest.approx(0.0)
    assert not full.is_over
    assert fits_in(full, 0.0) == ""
    assert fits_in(full, 0.5) == (
        "With 0 L more, 270 L of flammable liquid would stand in the fire area; "
        "the site allows 270 L."
    )


CLP_TO_C = 60.0
"""Regulation (EC) No 1272/2008, annex I, table 2.6.1: nothing that flashes above 60 C counts."""
HEXYL = "own:Hexyl:0.7:20:::::100:250301"  # its sheet says nothing of a flash point
PENTYL = "own:Pentyl:0.62:20:-40:35::::250301"  # boils at 35 C
TPM, DPM = "tripropylene_glycol_methyl_ether", "dipropylene_glycol_methyl_ether"


def test_under_rules_that_end_at_60_c_what_flashes_above_is_no_flammable_liquid() -> None:
    assert category_of(60.0, 99.0, CLP_TO_C) == 3
    assert category_of(60.01, 99.0, CLP_TO_C) is None
    # Closed cup 74 C: category 4 of the GHS, nothing of the CLP.
    assert category_of_solvent(SOLVENTS[DPM], CLP_TO_C) is None
    assert category_of_key(DPM, CLP_TO_C) is None
    assert category_of_stream("glycol_ether_resin") == (4, WORST)
    assert category_of_stream("glycol_ether_resin", CLP_TO_C) == (None, WORST)
    assert category_of_key("isopropanol", CLP_TO_C) == 2


def test_the_whole_fire_area_goes_by_the_highest_flash_point_of_the_site() -> None:
    ether = ItemState("dpm", "Ether", "solvent", "L", DPM, lots=(_lot("E1", 20.0),))
    drums = [DrumState("W-1", "Birch", stream="glycol_ether_resin", volume_l=50.0)]
    baths = [BathThere("alder", "Alder", 30.0, DPM)]
    by_ghs = fire_area(baths, [ether], drums, 90.0)
    assert [each.category for each in by_ghs.stored] == [4, 4, 4]
    assert by_ghs.is_over
    by_clp = fire_area(baths, [ether], drums, 90.0, CLP_TO_C)
    assert [each.category for each in by_clp.stored] == [None, None, None]
    assert by_clp.total_l == 0.0
    assert fits_in(by_clp, 90.0) == ""


def test_a_flash_point_that_nobody_knows_is_taken_as_category_two_and_said() -> None:
    assert SOLVENTS[HEXYL].is_flash_unknown
    assert category_of_solvent(SOLVENTS[HEXYL]) == 2
    assert category_of_solvent(SOLVENTS[HEXYL], CLP_TO_C) == 2
    assert category_of_stream(HEXYL) == (2, GUESSED)
    for wet in ("solids_and_sludge", "still_bottoms", "wipes"):
        assert category_of_stream(wet) == (2, GUESSED)
    assert category_of_stream("uncured_resin") == (None, "")


@pytest.mark.parametrize(
    "solvent, flash_c, to_c, category",
    # Limits of 29 CFR 1910.106(a)(19) and, to 60 C, of the CLP; the boiling point stays that of
    # the slow solvent.
    [(TPM, None, 93.0, None), (TPM, 93.0, 93.0, 4), (TPM, 93.5, 93.0, None), (TPM, 60.0, 60.0, 3),
     (TPM, 61.0, 60.0, None), (TPM, 61.0, 93.0, 4), (TPM, 23.0, 93.0, 3), (TPM, 22.0, 93.0, 2),
     (DPM, None, 93.0, 4), (DPM, None, 60.0, None), (DPM, 40.0, 60.0, 3), (PENTYL, 22.0, 93.0, 1),
     (PENTYL, 23.0, 93.0, 3), ("something of its own", 40.0, 93.0, 2)],
)  # fmt: skip
def test_a_bath_goes_by_its_flash_point_once_that_came_down(
    solvent: str, flash_c: float | None, to_c: float, category: int | None
) -> None:
    assert BathThere("alder", "Alder", 30.0, solvent, flash_c).category(to_c) == category


@pytest.mark.parametrize("flash_c, category", [(40.0, 3), (0.0, 2), (-3.0, 2)])
def test_a_lowered_flash_point_is_said_at_any_temperature(flash_c: float, category: int) -> None:
    baths = [BathThere("alder", "Alder", 30.0, TPM, flash_c)]
    assert fire_area(baths, [], [], None).stored == (
        Stored("tanks", "Alder", 30.0, category, LOWERED, "alder"),
    )
