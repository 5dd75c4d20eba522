"""What may spark, and what heat or ultrasound does to a bath.

Sources, from memory: 29 CFR 1910.106(a)(19), within 30 F (16.7 C) of the flash point; class IB of
NFPA 30: flash point below 73 F (22.8 C), boiling point 100 F (37.8 C) or more; NFPA 77 on plastic.
"""

from dataclasses import replace
from datetime import UTC, datetime
from typing import Any

import pytest

from app.domain.builds import (
    BUILD_BOOK,
    CLAMPS,
    NO_BOND,
    TankBuildState,
    bonding,
    hot_words,
    lights_at_once,
    plastic_words,
)
from app.domain.roomlog.kinds.builds import TankBuild
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.solvents import SOLVENTS
from app.domain.things import fold

ALCOHOL, WATER = SOLVENTS["isopropanol"], SOLVENTS["water_based"]
SLOW = SOLVENTS["tripropylene_glycol_methyl_ether"]


def built(**more: Any) -> TankBuildState:
    return TankBuildState("t1", "metal", **more)


def test_what_flashes_below_60_c_is_neither_heated_nor_shaken() -> None:
    assert hot_words(ALCOHOL, built()) == ""
    assert hot_words(ALCOHOL, built(is_ultrasonic=True)).startswith("ultrasonic, and the flash")
    assert hot_words(ALCOHOL, built(heated_to_c=30.0)).startswith("heated to 30 °C")
    assert hot_words(WATER, built(is_ultrasonic=True, heated_to_c=60.0)) == ""
    assert hot_words(None, built(is_ultrasonic=True)) == ""


@pytest.mark.parametrize("below_c, is_hot", [(16.6, True), (16.7, True), (16.8, False)])
def test_a_slow_bath_stays_30_f_below_its_flash_point(below_c: float, is_hot: bool) -> None:
    flash_c = SLOW.flash_point_c
    assert flash_c is not None
    heated = built(heated_to_c=flash_c - below_c)
    assert (hot_words(SLOW, heated) != "") == is_hot
    assert hot_words(SLOW, built(is_ultrasonic=True)) == ""


def test_a_slow_bath_with_alcohol_in_it_is_as_alcohol() -> None:
    for one in (built(is_ultrasonic=True), built(heated_to_c=25.0)):
        assert "unknown" in hot_words(SLOW, one, is_lowered=True)


@pytest.mark.parametrize("key", ["isopropanol", "ethanol", "acetone"])
def test_the_quick_solvents_are_of_class_ib(key: str) -> None:
    assert lights_at_once(SOLVENTS[key]) == "a class IB liquid"


def test_class_i_ends_at_its_flash_point_and_ia_is_told_from_ib_by_the_boiling_point() -> None:
    assert not lights_at_once(SLOW)
    assert not lights_at_once(WATER)
    assert not lights_at_once(None)
    assert lights_at_once(replace(ALCOHOL, flash_point_c=22.7))
    assert not lights_at_once(replace(ALCOHOL, flash_point_c=22.8))
    assert lights_at_once(replace(ALCOHOL, boiling_point_c=37.8)) == "a class IB liquid"
    assert lights_at_once(replace(ALCOHOL, boiling_point_c=37.7)) == "a class IA liquid"


def test_what_a_sheet_leaves_open_makes_no_liquid_safer() -> None:
    assert lights_at_once(SOLVENTS["own:X:0.684:20:-4:::::"]) == "a class IB liquid"
    assert "not known" in lights_at_once(SOLVENTS["own:X:0.9:20::190::::"])
    assert lights_at_once(SOLVENTS["own:X:1.02:20:none:100::::"]) == ""


@pytest.mark.parametrize(
    "is_lowered, carried_c, is_told",
    [(True, None, True), (True, 22.7, True), (True, 22.8, False), (False, None, False)],
)
def test_a_slow_bath_lights_by_what_came_into_it(
    is_lowered: bool, carried_c: float | None, is_told: bool
) -> None:
    assert (lights_at_once(SLOW, is_lowered, carried_c) != "") == is_told
    assert (plastic_words(SLOW, ["plastic"], 40.0, is_lowered, carried_c) != "") == is_told


def test_metal_is_clamped_and_plastic_cannot_be() -> None:
    assert bonding(["metal", "metal"]) == (CLAMPS,)
    assert bonding(["metal", "plastic"]) == (NO_BOND,)
    assert bonding(["", "metal"]) == bonding([]) == (CLAMPS, NO_BOND)
    assert bonding(["metal", "metal"], may_burn=False) == ()
    assert "before you open the bung" in CLAMPS
    assert "earthed" in NO_BOND


def test_more_than_five_litres_through_plastic_need_a_word() -> None:
    assert plastic_words(ALCOHOL, ["plastic", ""], 5.1) != ""
    assert plastic_words(ALCOHOL, ["plastic"], 5.0) == ""
    assert plastic_words(ALCOHOL, ["metal"], 50.0) == ""
    assert plastic_words(SLOW, ["plastic"], 50.0) == ""


def test_what_is_said_of_the_flash_point_is_that_of_the_bath() -> None:
    shaken = built(is_ultrasonic=True)
    flash = "and the flash point of the bath is"
    own_c = ALCOHOL.flash_point_c
    assert hot_words(ALCOHOL, shaken) == f"ultrasonic, {flash} {own_c:.0f} °C"
    assert hot_words(SLOW, shaken, is_lowered=True) == f"ultrasonic, {flash} unknown"
    lowered = hot_words(SLOW, shaken, is_lowered=True, carried_c=29.4)
    assert lowered == f"ultrasonic, {flash} about 29 °C, computed"
    warm = hot_words(SLOW, built(heated_to_c=40.0), carried_c=55.0)
    assert warm == f"heated to 40 °C, {flash} about 55 °C, computed"


def test_what_passes_through_plastic_is_named() -> None:
    assert plastic_words(SLOW, ["plastic"], 40.0, is_lowered=True) == (
        "More than 5 L of a liquid whose flash point is not known through plastic. Plastic cannot "
        "be bonded, and a spark lights the vapour."
    )
    assert lights_at_once(SLOW, is_lowered=True, carried_c=20.0) == "a class IB liquid"


AT = datetime(2026, 3, 2, 8, tzinfo=UTC)


def test_a_tank_is_as_it_was_last_said_to_be() -> None:
    first = TankBuild(
        at=AT, tank="t1", material="metal", is_ultrasonic=True, heated_to_c=45.0, lead="Plover",
        reason="Under nitrogen",
    )  # fmt: skip
    last = TankBuild(at=AT.replace(hour=9), tank="t1")
    held = TankHeld(at=AT, tank="t1", reason="Leak", cause="lead")
    assert fold(BUILD_BOOK, "t1", [first, held]) == TankBuildState(
        "t1", "metal", True, 45.0, "Plover", "Under nitrogen", AT
    )
    assert fold(BUILD_BOOK, "t1", [first, last]) == TankBuildState("t1", said_at=last.at)
