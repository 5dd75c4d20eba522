"""Drums and lots in a swap: each litre is held against bath, drum and shelf."""

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from app.domain.errors import FieldErrors
from app.domain.plausible import NAMES
from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.inspections import InspectionOverruled, InspectionStarted
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.domain.roomlog.kinds.waste import Drum, DrumClosed, PickupShipped
from app.services.acts.swaps.ticking import Doubtful, Said, tick
from app.services.door import bring_in as record
from app.services.door import enter
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.services.swaps.led import Run, state_of, tank_row


def test_nothing_is_drained_without_protection_and_a_drum(store: Store) -> None:
    run = Run(store)
    assert "Protection is not confirmed" in run.refused("drain", drained_l=39.0)["gate"]


def test_nothing_is_filled_before_the_refit_unless_a_lead_lets_it_pass(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("wipe")
    assert "Refit it before filling" in run.refused("fill", filled_l=39.0)["gate"]
    run.lead("fill", "refit", reason="Seal comes tomorrow, blanked off")
    run.tick("fill", filled_l=39.0)
    word = run.state.overrule("fill", "refit")
    assert word is not None
    assert (word.by, word.reason) == ("Curlew", "Seal comes tomorrow, blanked off")


def test_an_inspection_that_holds_the_tank_forbids_the_refill(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("wipe")
    run.tick("refit")
    held = TankHeld(at=run.hand().at, tank="t1", reason="Blade is cracked", cause="inspection")
    record(store, ROOM, [held], NOW)
    assert "Blade is cracked" in run.refused("fill", filled_l=39.0)["gate"]


@pytest.mark.parametrize(
    "drum, words",
    [
        ("water", "One stream per drum"),
        ("none", "no drum"),
        ("", "Choose the drum"),
        ("d1", "left the site"),
        ("d2", "closed"),
    ],
)
def test_a_drum_that_cannot_take_the_bath_is_refused(store: Store, drum: str, words: str) -> None:
    shut = [
        PickupShipped(at=NOW - timedelta(days=1), pickup="p1", drums=["d1"], document="D 1"),
        DrumClosed(at=NOW - timedelta(days=1), drum="d2"),
    ]
    record(store, ROOM, shut, NOW)
    run = Run(store)
    run.tick("protect")
    assert words in run.refused("choose_drum", drum=drum)["drum"]


def test_a_drum_without_room_is_refused_and_a_bath_is_shared_between_two(store: Store) -> None:
    """54 L under the limit of a 60 L drum; 30 L in it already leave 24 L."""
    run = Run(store)
    small = Drum(at=START, drum="d3", name="W-15", capacity_l=60, stream="isopropanol_resin",
                 area="wash_station", volume_l=30)  # fmt: skip
    record(store, ROOM, [small], NOW)
    run.tick("protect")
    assert "room for 24" in run.refused("choose_drum", drum="d3")["drum"]
    run.lead("choose_drum", "drum_room", reason="Shared with W-14")
    run.tick("isolate")
    run.tick("choose_drum", drum="d3")
    run.tick("bond")
    assert "room for 24" in run.refused("drain", drained_l=39.0)["drained_l"]
    assert "drum_2" in run.refused("drain", drained_l=39.0, drum_2_l=16.0)
    same = run.refused("drain", drained_l=39.0, drum_2="d3", drum_2_l=16.0)
    assert "different drum" in same["drum_2_l"]
    more = run.refused("drain", drained_l=39.0, drum_2="d2", drum_2_l=40.0)
    assert "more than was drained" in more["drum_2_l"]
    run.tick("drain", drained_l=39.0, drum_2="d2", drum_2_l=16.0)
    assert state_of(store, "drum", "d3").volume_l == pytest.approx(53.0)
    assert state_of(store, "drum", "d2").volume_l == pytest.approx(16.0)


def test_no_more_is_rinsed_with_than_the_tank_holds_and_none_below_nought(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    assert "more than the tank holds" in run.refused("rinse", rinse_l=40.5, lot="ipa|A7")["rinse_l"]
    assert "0 for none" in run.refused("rinse", rinse_l=-1.0, lot="ipa|A7")["rinse_l"]
    assert "room for 15.0 L" in run.refused("rinse", rinse_l=40.0, lot="ipa|A7")["rinse_l"]


def test_more_than_the_bath_ever_held_cannot_be_drained(store: Store) -> None:
    run = Run(store)
    run.tick("protect")
    run.tick("isolate")
    run.tick("choose_drum", drum="d1")
    run.tick("bond")
    assert "never held more" in run.refused("drain", drained_l=43.0)["drained_l"]
    assert "never held more" in run.refused("drain", drained_l=39.0, heel_l=9.0)["heel_l"]
    assert "drained_l" in run.refused("drain")


def test_gallons_typed_as_litres_are_asked_about(store: Store) -> None:
    run = Run(store)
    run.tick("protect")
    run.tick("isolate")
    run.tick("choose_drum", drum="d1")
    run.tick("bond")
    with pytest.raises(Doubtful, match="US gal"):
        run.tick("drain", drained_l=10.3)
    assert run.state.tick("drain") is None
    run.tick("drain", drained_l=10.3, is_sure=True)
    assert run.state.tick("drain") is not None


def test_a_fill_above_the_upper_mark_is_refused(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("wipe")
    run.tick("refit")
    assert "upper mark" in run.refused("fill", filled_l=41.0)["filled_l"]
    assert "lower mark" in run.refused("fill", filled_l=20.0)["filled_l"]
    run.tick("fill", filled_l=20.0, note="The rest comes tomorrow", is_sure=True)


@pytest.mark.parametrize(
    "answers, field, words",
    [
        ({"lot": "ipa|OLD"}, "lot", "good until Fri 20 Feb 2026"),
        ({"lot": "ipa|NONE"}, "lot", "no lot"),
        ({"lot": "tea|A7"}, "lot", "no such lot"),
        ({"lot": "ipa|B1"}, "filled_l", "30 litres"),
        ({"lot": "ipa|B1"}, "filled_l", "Or take the rest from a second lot"),
        ({"lot": "ipa|B1", "lot_2": "ipa|A7"}, "lot_2_l", "how much"),
        ({"lot": "ipa|B1", "lot_2": "ipa|A7", "lot_2_l": 50.0}, "lot_2_l", "more than was filled"),
    ],
)
def test_a_lot_that_does_not_fit_is_refused(
    store: Store, answers: dict[str, Any], field: str, words: str
) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("wipe")
    run.tick("refit")
    assert words in run.refused("fill", filled_l=39.0, **answers)[field]


def test_an_old_lot_passes_with_the_word_of_a_lead(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("wipe")
    run.tick("refit")
    run.lead("fill", "lot", reason="Tested clear this morning", about="ipa|OLD")
    run.tick("fill", filled_l=39.0, lot="ipa|OLD")
    assert state_of(store, "item", "ipa").lot("OLD").quantity == pytest.approx(11.0)


def test_a_word_for_one_old_lot_is_none_for_another(store: Store) -> None:
    older = StockReceived(at=START, item="ipa", quantity=50, lot="OLDER",
                          expires_on=date(2025, 11, 1))  # fmt: skip
    record(store, ROOM, [older], NOW)
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("wipe")
    run.tick("refit")
    with pytest.raises(FieldErrors) as caught:
        run.lead("fill", "lot", reason="Tested clear this morning")
    assert "Say which lot" in caught.value.by_field()["about"]
    run.lead("fill", "lot", reason="Tested clear this morning", about="ipa|OLD")
    assert "have a lead let it pass" in run.refused("fill", filled_l=39.0, lot="ipa|OLDER")["lot"]
    ticked = StepDone(at=run.hand().at, by="Wren", swap=run.key, step="fill",
                      answers={"filled_l": 39.0, "lot": "ipa|OLDER"})  # fmt: skip
    with pytest.raises((FieldErrors, Doubtful)) as stopped:
        enter(store, ROOM, [ticked], NOW)
    assert "OLDER" in str(stopped.value)
    run.tick("fill", filled_l=39.0, lot="ipa|OLD")


def test_two_lots_are_taken_from_the_shelf_as_they_were_filled(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=39.0, lot="ipa|B1", lot_2="ipa|A7", lot_2_l=9.5)
    item = state_of(store, "item", "ipa")
    assert item.lot("A7").quantity == pytest.approx(50.5)
    assert item.lot("B1").quantity == pytest.approx(0.5)


def test_a_solvent_that_is_not_the_baths_is_not_filled(store: Store) -> None:
    other = [
        Item(at=START, item="ace", name="Acetone", category="solvent", unit="L", solvent="acetone"),
        StockReceived(at=START, item="ace", quantity=60, lot="C3"),
    ]
    record(store, ROOM, other, NOW)
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("wipe")
    run.tick("refit")
    assert "Do not pour one into the other" in run.refused("fill", filled_l=39, lot="ace|C3")["lot"]


def test_a_point_that_is_not_confirmed_holds_the_step_back(store: Store) -> None:
    run = Run(store)
    said = Said("protect", run.hand(), {}, frozenset({0}))
    with pytest.raises(FieldErrors) as caught:
        tick(store, ROOM, run.key, said, NOW)
    assert set(caught.value.by_field()) == {"confirm_1", "confirm_2"}


def test_an_open_inspection_holds_its_step_back_and_a_finding_the_refill(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    begun = InspectionStarted(
        at=run.hand().at, inspection="i1", tank="t1",
        positions=[{"component": "t1-impeller", "part": "impeller", "name": "Impeller"}],
    )  # fmt: skip
    record(store, ROOM, [begun], NOW)
    assert "sign it first" in run.refused("inspect")["gate"]
    finding = InspectionOverruled(
        at=run.hand().at, by="Curlew", lead="Curlew", inspection="i1", component="t1-impeller",
        verdict="take_out_of_service", reason="Blade is missing",
    )  # fmt: skip
    record(store, ROOM, [finding], NOW)
    assert "Blade is missing" in run.refused("fill", filled_l=39.0)["gate"]
    run.lead("inspect", "inspection", reason="Blade ordered, tank stays empty")
    run.tick("inspect")


def shelve_weak(store: Store, purity_percent: float) -> None:
    """60 L of the bath's solvent in another purity, mass percent, as lot W1."""
    weak = Item(at=START, item="weak", name="Weak IPA", category="solvent", unit="L",
                solvent="isopropanol", purity_percent=purity_percent)  # fmt: skip
    record(store, ROOM, [weak, StockReceived(at=START, item="weak", quantity=60, lot="W1")], NOW)


def test_a_lot_of_another_purity_says_what_it_does_and_waits_for_a_lead(store: Store) -> None:
    shelve_weak(store, 87.6)
    run = Run(store)
    run.until_drained()
    for step, answers in (("inspect", {}), ("rinse", {"rinse_l": 1.0, "lot": "ipa|A7"}),
                          ("wipe", {}), ("refit", {})):  # fmt: skip
        run.tick(step, **answers)
    said = run.refused("fill", filled_l=39.0, lot="weak|W1")["lot"]
    assert "87.6 % pure by mass, and the bath was filled with 99 % before" in said
    assert "% resin by density" in said
    assert "a lead lets it pass" in said
    shared = {"filled_l": 39.0, "lot": "ipa|A7", "lot_2_l": 9.0}
    assert "87.6 %" in run.refused("fill", **shared, lot_2="weak|W1")["lot_2"]
    by_label = {"filled_l": 39.0, "lot": "ipa|A7", "fresh_purity_volume_percent": 91.0}
    assert "87.6 %" in run.refused("fill", **by_label, is_sure=True)["fresh_purity_volume_percent"]
    with pytest.raises(Exception, match="changes nothing"):
        run.lead("rinse", "purity", about="87.6 %")
    run.lead("fill", "purity", reason="The good one comes on Monday", about="87.6 %")
    run.tick("fill", filled_l=39.0, lot="weak|W1", is_sure=True)
    run.look("leak_check")
    for step in ("leak_check", "read", "restart", "close_out"):
        run.look(step)
        run.tick(step, is_sure=True)
    run.complete()
    assert tank_row(store).fresh_purity_percent == pytest.approx(87.6)  # readings go on from it


def test_a_program_fills_no_other_purity_without_a_lead_either(store: Store) -> None:
    """By its label, by its lot, by the lot alone, or as the bath that it says at the end."""
    shelve_weak(store, 95.0)
    run = Run(store)
    run.until_drained()
    for step in ("inspect", "wipe", "refit"):
        run.tick(step)
    of_rinse = StockUsed(at=run.hand().at, by="Bot", item="weak", lot="W1", quantity=1.0,
                         purpose="swap", tank="t1", swap=run.key)  # fmt: skip
    enter(store, ROOM, [of_rinse], NOW, confirmed=NAMES)  # the rinse is not done: it may be of any
    run.lead("rinse", "step")
    used = replace(of_rinse, at=run.hand().at)

    def tick_of(**said: Any) -> StepDone:
        return StepDone(at=run.hand().at, by="Bot", swap=run.key, step="fill",
                        answers={"filled_l": 39.0, **said})  # fmt: skip

    sent = [tick_of(fresh_purity_percent=95.0), tick_of(fresh_purity_volume_percent=97.0),
            tick_of(lot="weak|W1"), used]  # fmt: skip
    for one in sent:
        with pytest.raises(FieldErrors) as caught:
            enter(store, ROOM, [one], NOW, confirmed=NAMES)
        assert "a lead lets it pass" in " ".join(caught.value.by_field().values())
    run.lead("fill", "purity", about="95 %")
    enter(store, ROOM, [tick_of(lot="weak|W1")], NOW, confirmed=NAMES)
    enter(store, ROOM, [replace(used, at=run.hand().at)], NOW, confirmed=NAMES)
    bath = Swap(at=run.hand().at, by="Bot", tank="t1", swap=run.key, drained_l=39.0, filled_l=39.0,
                solvent="isopropanol")  # fmt: skip
    with pytest.raises(FieldErrors, match="80 % pure by mass"):
        enter(store, ROOM, [replace(bath, fresh_purity_percent=80.0)], NOW, confirmed=NAMES)
    enter(store, ROOM, [replace(bath, fresh_purity_percent=97.0)], NOW, confirmed=NAMES)


def test_a_word_for_one_purity_is_none_for_another(store: Store) -> None:
    """A lead saw that 87.6 % reads like resin; nobody told them of 70 %, nor of a label."""
    for key, percent in (("weak", 87.6), ("weaker", 70.0)):
        weak = Item(at=START, item=key, name=key.title(), category="solvent", unit="L",
                    solvent="isopropanol", purity_percent=percent)  # fmt: skip
        record(store, ROOM, [weak, StockReceived(at=START, item=key, quantity=60, lot="W1")], NOW)
    run = Run(store)
    run.until_drained()
    for step in ("inspect", "wipe", "refit"):
        run.tick(step)
    for about in ("", "weak|W1", "nan"):
        with pytest.raises(FieldErrors) as caught:
            run.lead("fill", "purity", about=about)
        assert "Say which purity" in caught.value.by_field()["about"]
    run.lead("fill", "purity", about="87.6 %")
    assert "70 % pure by mass" in run.refused("fill", filled_l=39.0, lot="weaker|W1")["lot"]
    label = {"filled_l": 39.0, "lot": "weak|W1", "fresh_purity_percent": 60.0}
    said = run.refused("fill", **label, is_sure=True)["fresh_purity_percent"]
    assert "as a separate item under Supplies" in said
    shared = {"filled_l": 39.0, "lot": "weak|W1", "lot_2": "weaker|W1", "lot_2_l": 9.0}
    assert set(run.refused("fill", **shared)) == {"lot_2"}
    run.lead("fill", "purity", about="70 %")
    run.tick("fill", **shared, is_sure=True)
