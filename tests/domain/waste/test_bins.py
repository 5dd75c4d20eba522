"""Bins of wipes and of solids: a liquid in one runs out of it, and the wipes are no excluded waste
any more (40 CFR 261.4(b)(18): no free liquid)."""

from typing import Any

from app.domain.waste.drums import DrumState
from app.domain.waste.fitting import pour_misfits
from tests.domain.waste.book import after, drum, pour

WEIGHED: dict[str, Any] = {"mass_before_kg": 1.0, "mass_after_kg": 5.0}


def misfits(state: DrumState, **more: Any) -> list[tuple[str, str]]:
    """Field and rule of what is refused."""
    return [(one.field, one.rule) for one in pour_misfits(state, pour(9, **more), None)]


def test_a_bin_of_wipes_takes_nothing_out_of_a_tank_weighed_or_not() -> None:
    wipes = after(drum(stream="wipes"))
    assert misfits(wipes, **WEIGHED) == []
    assert misfits(wipes, tank="t1", **WEIGHED) == [("tank", "drum_no_liquid")]
    assert misfits(wipes, tank="t1") == [("tank", "drum_no_liquid")]
    ((message),) = [one.message for one in pour_misfits(wipes, pour(9, tank="t1", **WEIGHED), None)]
    assert message.startswith("Drum 1 is for “")
    assert "wipes" in message
    assert message.endswith(("without a tank.", "without choosing a tank."))


def test_what_is_wiped_up_after_a_spill_goes_in_from_wherever_it_was() -> None:
    assert misfits(after(drum(stream="wipes")), tank="t1", incident="i1") == []


def test_solids_out_of_a_tank_go_into_their_bin_by_the_scale_alone() -> None:
    solids = after(drum(stream="solids_and_sludge"))
    heavy = {"mass_before_kg": 1.0, "mass_after_kg": 23.0}  # 20 L of wet solids at 1.1 kg/L
    assert misfits(solids, tank="t1", **heavy) == []
    assert misfits(solids) == [("mass_after_kg", "solids are weighed")]
    assert misfits(solids, tank="t1") == [("drum", "drum_no_liquid")]
