"""Recipes: what a resin's entries leave, and doses that are unlike the others.

Twice the dose so far and ten times another recipe's are common practice, no source.
"""

from datetime import timedelta

import pytest

from app.domain.curing.recipes import (
    RecipeState,
    dose_oddity,
    far_from_others,
    far_from_present,
    recipe_after,
)
from app.domain.roomlog.kinds.curing import CureRecipe
from tests.domain.curing.rooms import NOW, metered


def test_an_unusual_dose_is_said_on_either_side() -> None:
    assert dose_oddity(300.0) is None
    assert dose_oddity(60_000.0) is None
    assert dose_oddity(299.0) == (
        "299 mJ/cm² is less than usual for a post-cure (300 to 60,000 mJ/cm², common practice)."
    )
    assert dose_oddity(60_001.0) == (
        "60,001 mJ/cm² is more than usual for a post-cure (300 to 60,000 mJ/cm², common practice)."
    )


@pytest.mark.parametrize(
    "dose, others, words",
    [
        (6000.0, {}, None),
        (6000.0, {"Slate": 6000.0}, None),
        (5990.0, {"Slate": 600.0}, None),
        (610.0, {"Slate": 6000.0}, None),
        (
            6000.0, {"Slate": 600.0},
            "It is 10 times the dose of Slate, the nearest of the other recipes here.",
        ),
        (
            600.0, {"Slate": 6000.0},
            "It is 10 times less than the dose of Slate, the nearest of the other recipes here.",
        ),
        (  # 60 times the one, a twentieth of the other: the nearest is the one by the ratio
            6000.0, {"Slate": 100.0, "Amber": 120_000.0},
            "It is 20 times less than the dose of Amber, the nearest of the other recipes here.",
        ),
        (6000.0, {"Slate": 100.0, "Amber": 5000.0}, None),
        (6000.0, {"Slate": 5000.0, "Amber": 100.0}, None),
    ],
)  # fmt: skip
def test_a_dose_ten_times_off_all_others_is_said(
    dose: float, others: dict[str, float], words: str | None
) -> None:
    assert far_from_others(dose, others) == words


@pytest.mark.parametrize(
    "dose, present, words",
    [
        (3000.0, 3000.0, None),
        (5990.0, 3000.0, None),
        (1510.0, 3000.0, None),
        (6000.0, 3000.0, "It is 2 times the dose so far, 3,000 mJ/cm²."),
        (1500.0, 3000.0, "It is 2 times less than the dose so far, 3,000 mJ/cm²."),
        (0.75, 0.25, "It is 3 times the dose so far, 0.25 mJ/cm²."),
        (0.25, 0.75, "It is 3 times less than the dose so far, 0.75 mJ/cm²."),
        (3000.0, 0.0, None),
        (0.0, 3000.0, None),
    ],
)
def test_a_dose_twice_or_half_of_the_present_is_said(
    dose: float, present: float, words: str | None
) -> None:
    assert far_from_present(dose, present) == words


def test_a_recipe_sets_all_of_it() -> None:
    entry = CureRecipe(
        at=NOW, resin="slate", reference_minutes=5.0, reference_mw_cm2=20.0, wavelength_nm=385.0,
        temperature_c=50.0, least_mw_cm2=4.0, longest_minutes=20.0, dry_minutes=45.0,
        turn_half_way=True, preparation="Blow out the holes", working_curve=((10.0, 0.1),),
        by="Wren",
    )  # fmt: skip
    # 5 min are 300 s, at 20 mW/cm2 6000 mJ/cm2.
    assert recipe_after(RecipeState("slate"), entry) == RecipeState(
        resin="slate", dose_mj_cm2=6000.0, reference_minutes=5.0, reference_mw_cm2=20.0,
        wavelength_nm=385.0, temperature_c=50.0, least_mw_cm2=4.0, longest_minutes=20.0,
        dry_minutes=45.0, turn_half_way=True, preparation="Blow out the holes",
        working_curve=((10.0, 0.1),), set_at=NOW, by="Wren",
    )  # fmt: skip
    bare = CureRecipe(at=NOW, resin="slate", dose_mj_cm2=700.0)
    state = recipe_after(recipe_after(RecipeState("slate"), entry), bare)
    assert state == RecipeState("slate", dose_mj_cm2=700.0, set_at=NOW)


def test_half_a_recipe_and_other_entries_set_no_dose() -> None:
    for half in ({"reference_minutes": 5.0}, {"reference_mw_cm2": 20.0}):
        entry = CureRecipe(at=NOW, resin="slate", **half)  # type: ignore[arg-type]
        assert recipe_after(RecipeState("slate"), entry).dose_mj_cm2 == 0
    state = RecipeState("slate", dose_mj_cm2=700.0, set_at=NOW - timedelta(days=1))
    assert recipe_after(state, metered(0, 10)) is state
