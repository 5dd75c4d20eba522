"""The caution of a bath says what is true of it: one that is not is read past.

Flammable has a flash point below 60 C: 40 CFR 261.21(a)(1), text read.
"""

import pytest

from app.domain.solvents import SOLVENTS
from app.domain.solvents.cautions import FLAMMABLE, LOWERED, NO_FLASH, UNKNOWN, WATER, pouring
from app.domain.waste.streams import STREAMS


@pytest.mark.parametrize("key", SOLVENTS)
def test_only_what_catches_fire_at_room_temperature_is_called_flammable(key: str) -> None:
    solvent = SOLVENTS[key]
    is_flammable = solvent.flash_point_c is not None and solvent.flash_point_c < 60
    assert ("Flammable solvent" in pouring(solvent)) == is_flammable
    assert "loves and glasses on" in pouring(solvent)


def test_each_kind_of_bath_has_its_own_words() -> None:
    assert pouring(SOLVENTS["isopropanol"]) == FLAMMABLE
    assert pouring(SOLVENTS["water_based"]) == WATER
    slow = SOLVENTS["tripropylene_glycol_methyl_ether"]
    assert f"flash point {slow.flash_point_c:.0f} °C" in pouring(slow)
    assert pouring(slow, is_lowered=True) == LOWERED
    assert pouring(SOLVENTS["isopropanol"], is_lowered=True) == FLAMMABLE
    assert pouring(None) == UNKNOWN
    blend = SOLVENTS["own:Blend_K4:0.98:20::::::250301"]  # its sheet gives no flash point
    assert pouring(blend) == UNKNOWN
    assert pouring(blend, is_lowered=True) == LOWERED
    without = SOLVENTS["own:Blend_K5:1.3:20:none:::::250301"]  # it has none, as its sheet says
    assert pouring(without) == NO_FLASH
    assert pouring(without, is_lowered=True) == LOWERED
    assert pouring(SOLVENTS["own:Aqua:1.02:20:none:100::::250301"]) == WATER


def test_a_stream_with_resin_needs_air_above_it() -> None:
    """Becker and Vogel, Chemical Engineering & Technology 29 (2006) 1227; from memory."""
    with_resin = {key for key, stream in STREAMS.items() if stream.holds_acrylate}
    assert {"isopropanol_resin", "uncured_resin", "water_wash"} <= with_resin
    assert not {"unknown", "wipes"} & with_resin
