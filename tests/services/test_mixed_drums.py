"""A drum that a log which was brought in put another stream into: nothing more goes in or out."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import (
    DrumChanged,
    DrumClosed,
    DrumQuarantined,
    DrumReleased,
    DrumTransfer,
    PickupBooked,
    PickupShipped,
)
from app.services import mixed_drums
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.mixed_drums import source_of
from app.store.engine import Store
from tests.factories import NOW, ROOM, tank
from tests.services.waste_room import ago, drum, pour, refused, seen, state, waste_room

BROUGHT = "By the log it holds two waste streams"


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A bath of glycol ether was poured into a drum of isopropanol, as an import tells."""
    made = waste_room(tmp_path)
    record(made, ROOM, [pour(2, 20.0, tank="t1"), pour(1, 10.0, tank="tpm")], NOW)
    yield made
    made.close()


def test_it_is_seen_and_offered_no_more(store: Store) -> None:
    assert state(store).is_mixed
    assert not state(store).takes_waste
    assert [one.key for one in seen(store).open_drums if one.is_mixed] == ["d1"]
    assert not state(store, "d2").is_mixed


def test_nothing_is_poured_into_it_nothing_shipped_until_it_is_tested(store: Store) -> None:
    """40 CFR 262.11: what a waste is, is determined before it is sent on."""
    assert "holds two waste streams" in str(refused(store, pour(tank="t1", volume_l=5.0)))
    record(store, ROOM, [
        DrumClosed(at=ago(0.1), drum="d1", is_cool=True),
        PickupBooked(at=ago(0.1), pickup="p1", drums=["d1"], hauler="Carrier",
                     pickup_on=NOW.date()),
    ], NOW)  # fmt: skip
    ship = PickupShipped(at=NOW, pickup="p1", drums=["d1"], document="X-1")
    assert "holds two waste streams" in str(refused(store, ship))


def test_its_contents_go_into_an_empty_drum_only_which_is_then_mixed_itself(store: Store) -> None:
    move = DrumTransfer(at=NOW, drum="d2", from_drum="d1", volume_l=5.0, waste_kg=4.0)
    record(store, ROOM, [pour(1, 5.0, "d2", tank="t1")], NOW)
    assert "two waste streams" in str(refused(store, move))
    record(store, ROOM, [drum("d3"), move.__class__(**{**vars(move), "drum": "d3"})], NOW)
    assert state(store, "d3").is_mixed


def test_all_of_it_moved_into_an_empty_drum_is_mixed_there_still(store: Store) -> None:
    """What was moved is what the first drum held then, not what it holds now that it is empty."""
    move = DrumTransfer(at=ago(0.3), drum="d3", from_drum="d1", volume_l=30.0, waste_kg=25.0)
    record(store, ROOM, [drum("d3"), move], NOW)
    assert state(store).is_empty
    assert not state(store).is_mixed
    assert state(store, "d3").is_mixed
    assert "two waste streams" in str(refused(store, pour(0, 2.0, "d3", tank="t1")))


def test_what_was_moved_before_the_mixture_is_none(store: Store) -> None:
    move = DrumTransfer(at=ago(1.5), drum="d3", from_drum="d1", volume_l=5.0, waste_kg=4.0)
    record(store, ROOM, [drum("d3"), move], NOW)
    assert state(store).is_mixed
    assert not state(store, "d3").is_mixed


def test_moved_and_part_of_it_moved_back_is_followed_to_its_end(store: Store) -> None:
    record(store, ROOM, [
        drum("d3"), drum("d4"), pour(3, 20.0, "d3", tank="t1"),
        DrumTransfer(at=ago(2), drum="d4", from_drum="d3", volume_l=10.0, waste_kg=8.0),
        DrumTransfer(at=ago(1), drum="d3", from_drum="d4", volume_l=5.0, waste_kg=4.0),
    ], NOW)  # fmt: skip
    assert not state(store, "d3").is_mixed
    assert not state(store, "d4").is_mixed


def test_a_test_in_quarantine_says_what_it_is(store: Store) -> None:
    record(store, ROOM, [
        DrumQuarantined(at=ago(0.4), drum="d1", reason="Two streams"),
        DrumChanged(at=ago(0.3), drum="d1", stream="glycol_ether_with_alcohol"),
        DrumReleased(at=ago(0.2), drum="d1", lead="Curlew", reason="Tested"),
    ], NOW)  # fmt: skip
    assert not state(store).is_mixed
    record(store, ROOM, [pour(0.1, 1.0, tank="t1")], NOW)
    assert not state(store).is_mixed


def test_the_same_stream_said_again_is_a_test_as_well(store: Store) -> None:
    """40 CFR 262.11: a lead says it, with what the test found, and in quarantine."""
    record(store, ROOM, [CrewMember(at=ago(9), crew="crew", name="Curlew", role="lead")], NOW)
    said = DrumChanged(at=NOW, drum="d1", stream="isopropanol_resin", by="Curlew", note="Tested")
    assert "only in quarantine" in refused(store, said)["stream"]
    shut = DrumQuarantined(at=ago(0.4), drum="d1", reason="Two streams")
    record(store, ROOM, [shut], NOW)
    assert "Only a lead" in refused(store, replace(said, by="Wren"))["by"]
    assert "what the test found" in refused(store, replace(said, note=""))["note"]
    enter(store, ROOM, [DrumChanged(at=NOW, drum="d1", name="Left", by="Wren")], NOW)
    assert state(store).is_mixed
    enter(store, ROOM, [said], NOW)
    assert not state(store).is_mixed


def test_a_file_that_only_changes_the_stream_is_no_test(store: Store) -> None:
    """At other doors a stream is changed in quarantine only."""
    record(store, ROOM, [DrumChanged(at=ago(0.3), drum="d1", stream="glycol_ether_resin")], NOW)
    assert state(store).is_mixed


def test_a_bath_that_was_another_solvent_then_is_no_mixture(store: Store) -> None:
    """The pour was of the isopropanol that stood in the tank before its swap to another solvent."""
    swap = Swap(at=ago(3), tank="t2", drained_l=38.0, filled_l=38.0,
                solvent="tripropylene_glycol_methyl_ether")  # fmt: skip
    record(store, ROOM, [tank("t2"), swap], NOW)
    record(store, ROOM, [drum("d3", days=12), pour(6, 20.0, "d3", tank="t2")], NOW)
    assert not state(store, "d3").is_mixed
    record(store, ROOM, [pour(0.5, 2.0, "d3", tank="t2")], NOW)
    assert state(store, "d3").is_mixed


def test_liquid_in_a_bin_of_wipes_is_seen_and_sludge_by_the_scale_is_none(store: Store) -> None:
    sludge = pour(1, 2.0, "d4", tank="t1", mass_before_kg=10.0, mass_after_kg=12.0)
    record(store, ROOM, [
        drum("d3", stream="wipes"), pour(1, 20.0, "d3", tank="t1"),
        drum("d4", stream="solids_and_sludge"), sludge,
    ], NOW)  # fmt: skip
    assert state(store, "d3").is_mixed
    assert not state(store, "d4").is_mixed


SIXTY, SEVENTY = (
    "own:Sixty:0.9:20:65:190:1:50:150:250301",
    "own:Seventy:0.9:20:75:190:1:50:150:250301",
)


@pytest.fixture
def own(tmp_path: Path) -> Iterator[Store]:
    """Two slow baths of the site's own solvents, and drums for what alcohol came into."""
    made = waste_room(tmp_path)
    record(made, ROOM, [
        tank("sixty", solvent=SIXTY), tank("seventy", solvent=SEVENTY),
        drum("mix", stream="own_with_alcohol"), drum("mix2", stream="own_with_alcohol"),
        pour(1, 10.0, "mix", tank="sixty"),
    ], NOW)  # fmt: skip
    yield made
    made.close()


def test_two_own_solvents_do_not_meet_in_the_drum_for_their_mixtures(own: Store) -> None:
    """40 CFR 262.16(b)(2)(ii) and 265.177, compatible wastes; second hand."""
    refusal = str(refused(own, pour(0, 2.0, "mix", tank="seventy")))
    assert "it holds Sixty" in refusal
    record(own, ROOM, [pour(0.5, 5.0, "mix2", tank="seventy")], NOW)
    move = DrumTransfer(at=NOW, drum="mix", from_drum="mix2", volume_l=2.0, waste_kg=2.0)
    assert "it holds Sixty" in str(refused(own, move))
    assert not state(own, "mix").is_mixed


def test_a_drum_that_holds_two_own_solvents_by_the_log_is_known_as_mixed(own: Store) -> None:
    record(own, ROOM, [pour(0.5, 5.0, "mix", tank="seventy")], NOW)
    assert state(own, "mix").is_mixed
    assert not state(own, "mix").takes_waste


def test_an_own_solvent_moved_into_an_empty_drum_is_known_there(own: Store) -> None:
    """Nor does what nobody named get a name by being moved."""
    record(own, ROOM, [
        drum("full", stream="own_with_alcohol", volume_l=30.0),
        drum("new", stream="own_with_alcohol"), drum("new2", stream="own_with_alcohol"),
        DrumTransfer(at=ago(0.3), drum="new", from_drum="mix", volume_l=10.0, waste_kg=9.0),
        DrumTransfer(at=ago(0.3), drum="new2", from_drum="full", volume_l=30.0, waste_kg=27.0),
    ], NOW)  # fmt: skip
    assert "it holds Sixty" in str(refused(own, pour(0, 2.0, "new", tank="seventy")))
    assert "nobody has named" in str(refused(own, pour(0, 2.0, "new2", tank="seventy")))


def test_own_solvents_that_nobody_named_are_not_joined_by_one_of_several(own: Store) -> None:
    """A drum set up with something in it, or a pour that named no tank: it may be the other one."""
    record(own, ROOM, [
        drum("full", stream="own_with_alcohol", volume_l=30.0),
        drum("late", stream="own_with_alcohol"), pour(0.5, 3.0, "late"),
        drum("new", stream="own_with_alcohol"),
    ], NOW)  # fmt: skip
    for key in ("full", "late"):
        assert "nobody has named" in str(refused(own, pour(0, 2.0, key, tank="seventy")))
        move = DrumTransfer(at=NOW, drum="mix", from_drum=key, volume_l=2.0, waste_kg=2.0)
        assert "it holds Sixty" in str(refused(own, move))
    record(own, ROOM, [pour(0.2, 2.0, "new", tank="seventy")], NOW)
    move = DrumTransfer(at=NOW, drum="full", from_drum="new", volume_l=2.0, waste_kg=2.0)
    assert "nobody has named" in str(refused(own, move))
    record(own, ROOM, [
        DrumQuarantined(at=ago(0.1), drum="full", reason="Not named"),
        DrumChanged(at=ago(0.08), drum="full", stream="own_with_alcohol"),
        DrumReleased(at=ago(0.05), drum="full", lead="Curlew", reason="Tested"),
    ], NOW)  # fmt: skip
    enter(own, ROOM, [pour(0, 2.0, "full", tank="seventy")], NOW)


def test_the_only_own_solvent_of_a_site_joins_what_nobody_named(tmp_path: Path) -> None:
    made = waste_room(tmp_path)
    record(made, ROOM, [
        tank("sixty", solvent=SIXTY), drum("full", stream="own_with_alcohol", volume_l=30.0),
    ], NOW)  # fmt: skip
    enter(made, ROOM, [pour(0, 2.0, "full", tank="sixty")], NOW)
    assert state(made, "full").volume_l == pytest.approx(32.0)
    made.close()


def test_drums_poured_to_and_fro_are_each_looked_into_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each move stands on all before it: looked into anew for each, thirty would take for ever."""
    made = waste_room(tmp_path)
    moves = [
        DrumTransfer(
            at=ago(0.5 - n / 1000), drum=("d1", "d2")[n % 2], from_drum=("d2", "d1")[n % 2],
            volume_l=1.0, waste_kg=0.8,
        )
        for n in range(30)
    ]  # fmt: skip
    record(made, ROOM, [
        pour(2, 20.0, tank="t1"), pour(2, 20.0, "d2", tank="t1"), *moves
    ], NOW)  # fmt: skip
    looks: list[str] = []
    monkeypatch.setattr(
        mixed_drums, "source_of", lambda *given: looks.append("") or source_of(*given)
    )
    assert not state(made).is_mixed
    assert 0 < len(looks) <= 4 * len(moves)
    made.close()
