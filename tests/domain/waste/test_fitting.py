"""What may be done with a drum, and the sentence that says why it may not."""

from dataclasses import replace
from datetime import date
from typing import Any

import pytest

from app.domain.errors import FieldError
from app.domain.roomlog.kinds.waste import (
    DrumChanged,
    DrumClosed,
    DrumEntry,
    DrumMoved,
    DrumOpened,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
    Pour,
)
from app.domain.waste.drums import DrumState
from app.domain.waste.fitting import (
    act_misfits,
    booking_misfits,
    litres,
    name_of,
    pour_misfits,
    shipping_misfits,
)
from app.domain.waste.pickups import PickupState
from tests.domain.waste.book import after, at, drum, moved, pour, shipped

Said = list[tuple[str, str]]


def said(found: list[FieldError]) -> Said:
    """The messages with the fields that they stand beside."""
    return [(one.field, one.message) for one in found]


def hundred(**more: Any) -> DrumState:
    """A drum of 100 L, of which 90 may be filled."""
    return after(drum(capacity_l=100.0, **more))


def poured(
    state: DrumState | None, volume_l: float = 20.0, solvent: str | None = None, **more: Any
) -> Said:
    return said(pour_misfits(state, pour(9, volume_l, **more), solvent))


def act(state: DrumState | None, entry: DrumEntry, other: DrumState | None = None) -> Said:
    return said(act_misfits(state, entry, ["Curlew", "Wren"], other))


def test_a_pour_that_fits_has_nothing_said_of_it() -> None:
    assert poured(hundred()) == []
    assert poured(hundred(), solvent="isopropanol", stream="isopropanol_resin") == []
    assert poured(hundred(), mass_before_kg=12.0, mass_after_kg=28.4) == []


@pytest.mark.parametrize("state", [None, DrumState("d1")])
def test_a_drum_that_is_not_there_takes_nothing(state: DrumState | None) -> None:
    assert poured(state) == [("drum", "There is no drum “d1”. Set it up first.")]


def test_a_drum_may_be_filled_to_its_limit_exactly() -> None:
    state = after(drum(capacity_l=100.0), pour(1, 70.0))
    assert poured(state, 20.0) == []
    assert poured(state, 20.1) == [
        (
            "volume_l",
            "Drum 1 holds 70.0 L of the 90.0 L allowed (90 % of 100.0 L; the rest is for "
            "expansion). There is room for 20.0 L. Choose another drum.",
        )
    ]
    gallons = pour_misfits(state, pour(9, 21.0), None, lambda volume: f"{volume / 4:g} units")
    assert [error.message for error in gallons] == [
        "Drum 1 holds 17.5 units of the 22.5 units allowed (90 % of 25 units; the rest is for "
        "expansion). There is room for 5 units. Choose another drum."
    ]
    assert litres(12.34) == "12.3 L"


def test_a_mass_that_no_liquid_has_is_refused() -> None:
    # 20 L of a liquid weigh between 12 and 34 kg; a solid may weigh less.
    heavy = {"mass_before_kg": 0.0, "mass_after_kg": 40.0}
    words = (
        "40.0 kg in 20.0 L is 2.00 kg per litre, which this waste cannot have. Were pounds read, "
        "or is the volume wrong?"
    )
    assert poured(hundred(), **heavy) == [("mass_after_kg", words)]
    light = {"mass_before_kg": 1.0, "mass_after_kg": 7.0}
    assert [field for field, _ in poured(hundred(), **light)] == ["mass_after_kg"]
    assert poured(hundred(stream="wipes"), **light) == []
    assert poured(hundred(), stream="wipes", **light) == [
        (
            "stream",
            "This drum holds “Spent isopropanol with resin”, but this pour is "
            "“Solvent-contaminated wipes”. One stream per drum, because wipes are only excluded "
            "from the rules if they hold no free liquid.",
        )
    ]


def test_a_drum_takes_what_was_poured_while_it_was_open() -> None:
    full = after(drum(), DrumClosed(at=at(9), drum="d1"))
    closed = "Drum 1 is closed for shipping. Use another drum, or reopen it."
    assert said(pour_misfits(full, pour(9), None)) == [("drum", closed)]
    assert said(pour_misfits(full, pour(8.99), None)) == []
    gone = after(drum(), shipped(9))
    left = "Drum 1 has left the site. Nothing can be poured into it."
    assert said(pour_misfits(gone, pour(9), None)) == [("drum", left)]
    assert said(pour_misfits(gone, pour(8.99), None)) == []
    later = [("drum", "Drum 1 only came into use after that time.")]
    assert said(pour_misfits(after(drum(9)), pour(8.99), None)) == later
    assert said(pour_misfits(after(drum(9)), pour(9), None)) == []
    for state in (replace(full, closed_at=None), replace(gone, shipped_at=None, closed_at=None)):
        assert said(pour_misfits(state, pour(9), None)) == []
    for unset in (hundred(), replace(hundred(), set_up_at=None)):
        assert said(pour_misfits(unset, pour(9), None)) == []
    held = after(drum(), DrumQuarantined(at=at(1), drum="d1", reason="Swollen lid"))
    quarantine = "Drum 1 is in quarantine: Swollen lid. A lead must release it first."
    assert said(pour_misfits(held, pour(9), None)) == [("drum", quarantine)]


def test_one_stream_goes_into_a_drum() -> None:
    unknown = "Drum 1 holds something unknown. Add nothing until it has been tested."
    assert poured(hundred(stream="unknown")) == [("drum", unknown)]
    # Acetone's bath poured into a drum of alcohol, the stream not named: the drum is the mistake.
    other = (
        "This drum holds “Spent isopropanol with resin”, but this pour is “Spent acetone "
        "with resin”. One stream per drum, because acetone is a listed solvent, and any drum it is "
        "added to takes over its waste code."
    )
    assert poured(hundred(), solvent="acetone") == [("drum", other)]
    assert poured(hundred(), solvent="acetone", stream="acetone_resin") == [("stream", other)]
    assert poured(hundred(), solvent="acetone", stream="isopropanol_resin") == [
        ("tank", "The tank holds Acetone, which is not “Spent isopropanol with resin”.")
    ]
    assert poured(hundred(), solvent="isopropanol") == []
    strange = poured(hundred(), solvent="brine", stream="isopropanol_resin")
    assert strange == [
        ("tank", "The tank holds brine, which is not “Spent isopropanol with resin”.")
    ]
    untold = poured(hundred(), solvent="brine")
    assert [field for field, _ in untold] == ["drum"]
    assert "this pour is “Unknown or mixed”" in untold[0][1]


def test_solids_are_weighed_and_no_liquid_goes_into_their_bin() -> None:
    bin_ = hundred(stream="solids_and_sludge")
    # 20 L of wet solids at 1.1 kg/L.
    weighed: dict[str, Any] = {"mass_before_kg": 1.0, "mass_after_kg": 23.0}
    assert poured(bin_, **weighed) == []
    assert poured(bin_, tank="t1", **weighed) == []
    assert poured(bin_, stream="solids_and_sludge", **weighed) == []
    no_liquid = [
        (
            "drum",
            "Drum 1 is for “Solids and sludge, solvent-wet” and takes no liquid. Use a drum for "
            "this solvent.",
        )
    ]
    assert poured(bin_, swap="s1", **weighed) == no_liquid
    assert poured(bin_, tank="t1") == no_liquid
    assert poured(bin_) == [
        (
            "mass_after_kg",
            "Weigh it. What goes into Drum 1 is counted by the scale, before and after.",
        )
    ]
    assert poured(bin_, tank="t1", incident="i1") == []
    rules = [error.rule for error in pour_misfits(bin_, pour(9, tank="t1"), None)]
    assert rules == ["drum_no_liquid"]
    ((field, words),) = poured(bin_, stream="wipes", mass_before_kg=1.0, mass_after_kg=7.0)
    assert field == "stream"
    assert words.startswith("This drum holds “Solids and sludge, solvent-wet”, but this pour")


def test_a_drum_that_is_gone_is_only_quarantined() -> None:
    close = DrumClosed(at=at(9), drum="d1", is_cool=True)
    assert act(None, close) == [("drum", "There is no drum “d1”.")]
    assert act(DrumState("d1"), close) == [("drum", "There is no drum “d1”.")]
    gone = after(drum(), shipped(3))
    assert act(gone, close) == [("drum", "Drum 1 has left the site.")]
    assert act(gone, DrumQuarantined(at=at(9), drum="d1", reason="Hot")) == []
    assert act(hundred(), DrumQuarantined(at=at(9), drum="d1", reason="Hot")) == []
    assert (name_of(gone), name_of(DrumState("d7"))) == ("Drum 1", "d7")


def test_a_drum_is_moved_to_another_place() -> None:
    assert act(hundred(), moved(9)) == []
    assert act(hundred(), DrumMoved(at=at(9), drum="d1", area="wash_station")) == [
        ("area", "Drum 1 is already there.")
    ]


def test_a_drum_is_closed_once_and_cool() -> None:
    warm, cool = (DrumClosed(at=at(9), drum="d1", is_cool=is_cool) for is_cool in (None, True))
    quiet = "Confirm that the contents are cool and quiet and were not left in the light."
    assert act(hundred(), cool) == []
    assert act(hundred(), warm) == [("is_cool", quiet)]
    assert act(hundred(stream="wipes"), warm) == []
    closed = after(drum(), DrumClosed(at=at(2), drum="d1"))
    assert act(closed, cool) == [("drum", "Drum 1 is already closed.")]
    assert act(closed, DrumOpened(at=at(9), drum="d1")) == []
    assert act(hundred(), DrumOpened(at=at(9), drum="d1")) == [("drum", "Drum 1 is not closed.")]


def test_only_a_lead_releases() -> None:
    word = DrumReleased(at=at(9), drum="d1", lead="Wren", reason="Cooled down")
    stranger = replace(word, lead="Plover")
    held = after(drum(), DrumQuarantined(at=at(2), drum="d1", reason="Hot"))
    assert act(held, word) == []
    assert act(hundred(), word) == [("drum", "Drum 1 is not in quarantine.")]
    assert act(held, stranger) == [("lead", "Only a lead may release it: Curlew, Wren.")]
    assert said(act_misfits(held, stranger, [])) == [
        (
            "lead",
            "Only a lead may release it: none has been entered under People and roles.",
        )
    ]


def test_the_stream_of_a_drum_with_contents_is_changed_in_quarantine() -> None:
    change = DrumChanged(at=at(9), drum="d1", stream="acetone_resin", note="Tested")
    full = after(drum(), pour(1, 20.0))
    held = after(drum(), pour(1, 20.0), DrumQuarantined(at=at(2), drum="d1", reason="Hot"))
    words = "Change the stream of a drum with contents only in quarantine, after a test."
    assert act(full, change) == [("stream", words)]
    for allowed in (held, hundred()):
        assert act(allowed, change) == []
    assert act(held, replace(change, note=" ")) == [("note", "Say what the test found.")]
    assert act(hundred(), replace(change, note="")) == []
    for same in (
        replace(change, stream="isopropanol_resin"),
        DrumChanged(at=at(9), drum="d1", name="Left drum"),
        DrumChanged(at=at(9), drum="d1", capacity_l=20.0),
    ):
        assert act(full, same) == []
    small = DrumChanged(at=at(9), drum="d1", capacity_l=19.9)
    assert act(full, small) == [("capacity_l", "It already holds more than that.")]


def test_a_transfer_fits_both_drums() -> None:
    def move(volume_l: float) -> DrumTransfer:
        return DrumTransfer(
            at=at(9), drum="d1", from_drum="d2", volume_l=volume_l, waste_kg=volume_l
        )

    target = after(drum(capacity_l=100.0), pour(1, 60.0))
    source = after(drum(key="d2"), pour(1, 40.0, "d2"), key="d2")
    little = after(drum(key="d2"), pour(1, 10.0, "d2"), key="d2")
    assert act(target, move(30.0), source) == []
    assert act(target, move(10.0), little) == []
    none = [("from_drum", "There is no drum “d2”.")]
    assert act(target, move(30.0), None) == none
    assert act(target, move(30.0), DrumState("d2")) == none
    assert act(target, move(30.1), source) == [("volume_l", "Drum 1 has room for 30.0 L only.")]
    assert act(target, move(10.1), little) == [("volume_l", "Drum 2 holds 10.0 L only.")]
    shut = replace(target, is_closed=True, closed_at=at(2))
    assert act(shut, move(10.0), source) == [
        ("drum", "Drum 1 is closed for shipping. Use another drum, or reopen it.")
    ]
    acetone = after(drum(key="d2", stream="acetone_resin"), pour(1, 40.0, "d2"), key="d2")
    ((field, words),) = act(target, move(10.0), acetone)
    assert field == "from_drum"
    assert words.startswith(
        "This drum holds “Spent isopropanol with resin”, but this pour is “Spent acetone with"
    )


def test_a_pickup_is_booked_for_drums_that_are_there_and_free() -> None:
    day = date(2026, 3, 11)
    drums = {
        "d1": hundred(), "d2": after(drum(key="d2"), shipped(1, "d2"), key="d2"),
        "d3": replace(hundred(), name="Drum 3", pickup="p1"),
        "d4": replace(hundred(), name="Drum 4", pickup="p2"),
        "d5": DrumState("d5"),
    }  # fmt: skip
    pickups = {"p1": PickupState("p1"), "p2": PickupState("p2", stage="cancelled")}
    assert said(booking_misfits(["d1", "d4"], drums, pickups, day, day)) == []
    late = booking_misfits(["d1"], drums, pickups, date(2026, 3, 10), day)
    assert said(late) == [("pickup_on", "This day has passed.")]
    found = booking_misfits(["d2", "d3", "d5", "d6"], drums, pickups, day, day)
    assert said(found) == [
        ("drums", "Drum 2 has left the site already."),
        ("drums", "Drum 3 is booked for another pickup."),
        ("drums", "There is no drum “d5”."),
        ("drums", "There is no drum “d6”."),
    ]


def test_what_leaves_is_booked_closed_known_and_not_in_quarantine() -> None:
    ready = replace(hundred(), is_closed=True)
    drums = {
        "d1": ready,
        "d2": replace(ready, name="Drum 2", is_shipped=True),
        "d3": replace(ready, name="Drum 3", is_quarantined=True, quarantine_reason="Hot"),
        "d4": replace(ready, name="Drum 4", is_closed=False),
        "d5": replace(ready, name="Drum 5", stream="unknown"),
        "d6": ready,
    }
    pickup = PickupState("p1", drums=("d1", "d2", "d3", "d4", "d5", "d7"))
    assert said(shipping_misfits(pickup, ["d1"], drums)) == []
    assert said(shipping_misfits(pickup, ["d2", "d3", "d4", "d5", "d6", "d7"], drums)) == [
        ("drums", "Drum 2 has left the site already."),
        ("drums", "Drum 3 is in quarantine: Hot."),
        ("drums", "Drum 4 is not closed. Close it first."),
        ("drums", "Drum 5 holds something untested."),
        ("drums", "“d6” is not a drum of this pickup."),
        ("drums", "“d7” is not a drum of this pickup."),
    ]
    off = [("pickup", "This pickup is no longer booked. Reload the page.")]
    assert said(shipping_misfits(None, ["d1"], drums)) == off
    assert said(shipping_misfits(replace(pickup, stage="shipped"), ["d1"], drums)) == off


def test_all_that_is_wrong_with_a_pour_is_said_at_once() -> None:
    both = Pour(
        at=at(9), drum="d1", volume_l=95.0, stream="acetone_resin",
        mass_before_kg=0.0, mass_after_kg=300.0,
    )  # fmt: skip
    found = pour_misfits(hundred(), both, None)
    assert [error.field for error in found] == ["stream", "volume_l", "mass_after_kg"]
