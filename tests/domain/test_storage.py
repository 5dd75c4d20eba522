"""Flammable liquids against limits: categories after the regulation, sums worked by hand."""

import pytest

from app.domain.solvents import SOLVENTS
from app.domain.storage import (
    REFERENCES,
    Stored,
    category_of,
    category_of_solvent,
    fits_in,
    inventory,
)


@pytest.mark.parametrize(
    "flash_f, boiling_f, category",
    # 29 CFR 1910.106(a)(19): below 73.4 F and at most 95 F; below 73.4 F; 73.4 to 140; to 199.4 F.
    [(60, 90, 1), (60, 95, 1), (53, 181, 2), (73.3, 200, 2), (73.5, 200, 3), (139, 300, 3),
     (141, 300, 4), (199, 400, 4), (200, 400, None)],
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
