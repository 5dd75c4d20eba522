"""A swap led by its checklist: each litre is accounted for, once, whoever ticks."""

import threading
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, select

from app.domain.checklists.run import SwapState
from app.domain.errors import Conflict, FieldErrors, NotFound
from app.domain.roomlog.kinds import Reading, Swap, SwapStarted
from app.domain.roomlog.kinds.checklists import Checklist, StepDone, StepNoted, StepOverruled
from app.domain.roomlog.kinds.incidents import TankHeld
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum, DrumClosed, PickupShipped
from app.services import checklists, swap_closing, swapping
from app.services.rebuilding import rebuild_room
from app.services.roomlog import Recorded, record
from app.services.rooms import find_room
from app.services.swapping import Hand
from app.services.ticking import Doubtful, Said, tick
from app.store.engine import Store
from app.store.tables import CourseRow, EntryRow, TankRow
from app.store.things import thing
from tests.factories import NOW, ROOM, START, furnish, new_store, tank, wash

BEGAN = NOW - timedelta(hours=3)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    """A room with a used bath, drums, solvent on the shelf and a lead."""
    store = new_store(tmp_path)
    furnish(store)
    record(
        store, ROOM,
        [
            tank("clean"),
            tank("dirty", pair="clean"),
            *(wash(9 - i, area_cm2=9000.0) for i in range(8)),
            Drum(at=START, drum="d1", name="W-13", capacity_l=60, stream="isopropanol_resin",
                 area="wash_station"),
            Drum(at=START, drum="d2", name="W-14", capacity_l=60, stream="isopropanol_resin",
                 area="wash_station"),
            Drum(at=START, drum="water", name="W-20", capacity_l=200, stream="water_wash",
                 area="wash_station"),
            Item(at=START, item="ipa", name="Isopropanol", category="solvent", unit="L",
                 solvent="isopropanol", purity_percent=99.8),
            StockReceived(at=START, item="ipa", quantity=60, lot="A7"),
            StockReceived(at=START, item="ipa", quantity=30, lot="B1"),
            StockReceived(at=START, item="ipa", quantity=50, lot="OLD",
                          expires_on=date(2026, 2, 20)),
            CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        ],
        NOW,
    )  # fmt: skip
    yield store
    store.close()


class Run:
    """A swap of `t1` in progress, a step a minute."""

    def __init__(self, store: Store, at_tank: str = "t1", from_tank: str | None = None) -> None:
        self.store, self.minute = store, 0
        swapping.start(store, ROOM, at_tank, from_tank, self.hand(), NOW)
        with Session(store.reader) as session:
            state = swapping.open_swap(session, room_id(store), at_tank)
        assert state is not None
        self.key = state.key

    def hand(self, by: str = "Wren", note: str = "") -> Hand:
        self.minute += 1
        return Hand(BEGAN + timedelta(minutes=self.minute), by, note)

    def tick(self, step: str, by: str = "Wren", note: str = "", **answers: Any) -> Recorded:
        found = self.state.step(step)
        assert found is not None
        said = Said(step, self.hand(by, note), answers, frozenset(range(len(found.confirms))),
                    reading=reading() if found.role == "reading" else None,
                    is_sure=answers.pop("is_sure", False))  # fmt: skip
        return tick(self.store, ROOM, self.key, said, NOW)

    def refused(self, step: str, **answers: Any) -> dict[str, str]:
        """The messages with which a tick is refused; nothing is stored."""
        before = entries(self.store)
        with pytest.raises(FieldErrors) as caught:
            self.tick(step, **answers)
        assert entries(self.store) == before
        return caught.value.by_field()

    def until_drained(self) -> None:
        for step in ("prepare", "protect", "isolate"):
            self.tick(step)
        self.tick("choose_drum", drum="d1")
        self.tick("bond")
        self.tick("drain", drained_l=39.0)

    def until_filled(self) -> None:
        self.until_drained()
        self.tick("inspect")
        self.tick("rinse", rinse_l=2.0, lot="ipa|A7")
        self.tick("wipe")
        self.tick("refit")
        if self.state.from_tank:
            self.tick("move_clean", moved_l=39.0)
        self.tick("fill", filled_l=39.0, lot="ipa|A7")

    def until_done(self) -> None:
        self.until_filled()
        for step in ("leak_check", "read", "restart", "close_out"):
            self.tick(step, is_sure=True)

    def complete(self, by: str = "Wren", note: str = "", closes_drum: bool = False) -> Recorded:
        hand = Hand(NOW, by, note)
        return swap_closing.complete(self.store, ROOM, self.key, hand, closes_drum, NOW)

    def lead(self, step: str, gate: str, by: str = "Curlew", reason: str = "Agreed") -> Recorded:
        at = self.hand().at
        word = StepOverruled(at=at, by=by, swap=self.key, step=step, gate=gate, reason=reason)
        return swapping.overrule(self.store, ROOM, word, NOW)

    @property
    def state(self) -> SwapState:
        with Session(self.store.reader) as session:
            return swapping.swap_state(session, room_id(self.store), self.key)


def reading() -> Reading:
    return Reading(
        at=NOW - timedelta(minutes=30), by="Wren", tank="t1", method="hydrometer",
        values={"density_g_ml": 0.7855, "temperature_c": 20.0},
    )  # fmt: skip


def room_id(store: Store) -> int:
    with Session(store.reader) as session:
        found = find_room(session, ROOM).id
    assert found is not None
    return found


def state_of(store: Store, kind: str, key: str) -> Any:
    with Session(store.reader) as session:
        return thing(session, room_id(store), kind, key)


def entries(store: Store, *kinds: str) -> list[str]:
    """Kinds of all entries, or the ids of those of some kinds that count."""
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).order_by(EntryRow.id)).all()  # type: ignore[arg-type]
    if not kinds:
        return [row.kind for row in rows]
    return [row.uid for row in rows if row.kind in kinds and row.voided_by is None]


def tank_row(store: Store, key: str = "t1") -> TankRow:
    with Session(store.reader) as session:
        return session.exec(select(TankRow).where(TankRow.key == key)).one()


def test_a_swap_from_start_to_close_accounts_for_each_litre(store: Store) -> None:
    """40 L estimated less evaporation, 39 drained, 2 rinse, 39 filled: 41 L into the drum and off
    the shelf, worked by hand."""
    loaded = tank_row(store)
    run = Run(store)
    assert tank_row(store).swap_started_at_us is not None
    run.until_done()
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(41.0)
    assert state_of(store, "item", "ipa").lot("A7").quantity == pytest.approx(60 - 41.0)
    run.complete(by="Dunlin", closes_drum=True)
    state, row = run.state, tank_row(store)
    assert (state.end, state.ended_by) == ("closed", "Dunlin")
    assert state.balance is not None
    assert state.balance.loss_l == pytest.approx(
        state.balance.estimated_l - 39.0 - state.balance.heel_l, abs=0.002
    )
    assert row.swap_started_at_us is None
    assert (row.fill, row.fresh_purity_percent) == (1, 99.8)
    assert row.mean_percent < 0.2 * loaded.mean_percent
    assert state_of(store, "drum", "d1").is_closed


def test_the_reading_of_the_fresh_bath_belongs_to_the_new_bath(store: Store) -> None:
    """The swap is dated at its fill, so that the reading after it is a reading of the new bath."""
    run = Run(store)
    run.until_done()
    run.complete()
    with Session(store.reader) as session:
        rows = {row.kind: row for row in session.exec(select(EntryRow)).all()}
        course = session.exec(select(CourseRow).where(CourseRow.kind == "reading")).one()
    assert course.fill == 1
    assert rows["swap"].moment_us < rows["reading"].moment_us
    filled = run.state.tick("fill")
    assert filled is not None
    assert rows["swap"].at_us == int(filled.at.timestamp() * 1_000_000)


def test_a_second_tick_is_kept_and_nothing_follows_from_it(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("drain", by="Dunlin", drained_l=39.0)
    state, done = run.state, run.state.tick("drain")
    assert done is not None
    assert done.by == "Wren"
    attempts = state.attempts_at("drain")
    assert attempts is not None
    assert (attempts.count, attempts.last_by) == (1, "Dunlin")
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(39.0)


def test_a_retry_of_a_tick_counts_once(store: Store) -> None:
    run = Run(store)
    said = Said("prepare", run.hand(), {}, frozenset(range(3)))
    first = tick(store, ROOM, run.key, said, NOW, "k1")
    again = tick(store, ROOM, run.key, said, NOW, "k1")
    assert again.ids == first.ids
    assert again.is_replayed
    assert run.state.attempts == ()


def test_an_undone_tick_takes_its_pour_back_and_stays_in_the_history(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    swapping.undo(store, ROOM, run.key, "drain", run.hand(note="Wrong drum"), NOW)
    assert run.state.tick("drain") is None
    assert state_of(store, "drum", "d1").volume_l == 0
    assert "pour" in entries(store)
    assert entries(store, "pour") == []
    run.tick("drain", drained_l=38.5)
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(38.5)


def test_undoing_the_fill_puts_the_solvent_back_on_the_shelf(store: Store) -> None:
    run = Run(store)
    run.until_filled()
    swapping.undo(store, ROOM, run.key, "fill", run.hand(), NOW)
    assert state_of(store, "item", "ipa").lot("A7").quantity == pytest.approx(58.0)
    with pytest.raises(Conflict):
        swapping.undo(store, ROOM, run.key, "fill", run.hand(), NOW)


def test_nothing_is_drained_without_protection_and_a_drum(store: Store) -> None:
    run = Run(store)
    assert "Protection is not confirmed" in run.refused("drain", drained_l=39.0)["gate"]


def test_nothing_is_filled_before_the_refit_unless_a_lead_lets_it_pass(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    assert "refit before filling" in run.refused("fill", filled_l=39.0)["gate"]
    run.lead("fill", "refit", reason="Seal comes tomorrow, blanked off")
    run.tick("fill", filled_l=39.0)
    word = run.state.overrule("fill", "refit")
    assert word is not None
    assert (word.by, word.reason) == ("Curlew", "Seal comes tomorrow, blanked off")


def test_only_a_lead_overrules_and_only_with_a_reason(store: Store) -> None:
    run = Run(store)
    with pytest.raises(FieldErrors) as caught:
        run.lead("drain", "ppe", by="Wren")
    assert "Curlew" in caught.value.by_field()["by"]
    with pytest.raises(FieldErrors) as caught:
        run.lead("drain", "ppe", reason=" ")
    assert "reason" in caught.value.by_field()
    with pytest.raises(FieldErrors) as caught:
        run.lead("drain", "step")
    assert "cannot be passed over" in caught.value.by_field()["gate"]


def test_an_inspection_that_holds_the_tank_forbids_the_refill(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("refit")
    held = TankHeld(at=run.hand().at, tank="t1", reason="Blade is cracked", cause="inspection")
    record(store, ROOM, [held], NOW)
    assert "Blade is cracked" in run.refused("fill", filled_l=39.0)["gate"]


@pytest.mark.parametrize(
    "drum, words",
    [
        ("water", "One stream a drum"),
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
    run.tick("choose_drum", drum="d3")
    assert "room for 24" in run.refused("drain", drained_l=39.0)["drained_l"]
    assert "drum_2" in run.refused("drain", drained_l=39.0, drum_2_l=16.0)
    assert "drum_2_l" in run.refused("drain", drained_l=39.0, drum_2="d2", drum_2_l=40.0)
    run.tick("drain", drained_l=39.0, drum_2="d2", drum_2_l=16.0)
    assert state_of(store, "drum", "d3").volume_l == pytest.approx(53.0)
    assert state_of(store, "drum", "d2").volume_l == pytest.approx(16.0)


def test_more_than_the_bath_ever_held_cannot_be_drained(store: Store) -> None:
    run = Run(store)
    run.tick("protect")
    run.tick("choose_drum", drum="d1")
    assert "never held more" in run.refused("drain", drained_l=43.0)["drained_l"]
    assert "never held more" in run.refused("drain", drained_l=39.0, heel_l=9.0)["heel_l"]
    assert "drained_l" in run.refused("drain")


def test_gallons_typed_as_litres_are_asked_about(store: Store) -> None:
    run = Run(store)
    run.tick("protect")
    run.tick("choose_drum", drum="d1")
    with pytest.raises(Doubtful, match="US gal"):
        run.tick("drain", drained_l=10.3)
    assert run.state.tick("drain") is None
    run.tick("drain", drained_l=10.3, is_sure=True)
    assert run.state.tick("drain") is not None


def test_a_fill_above_the_upper_mark_is_refused(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("refit")
    assert "upper mark" in run.refused("fill", filled_l=41.0)["filled_l"]
    assert "lower mark" in run.refused("fill", filled_l=20.0)["filled_l"]
    run.tick("fill", filled_l=20.0, note="The rest comes tomorrow", is_sure=True)


@pytest.mark.parametrize(
    "answers, field, words",
    [
        ({"lot": "ipa|OLD"}, "lot", "good until 2026-02-20"),
        ({"lot": "ipa|NONE"}, "lot", "no lot"),
        ({"lot": "tea|A7"}, "lot", "no such lot"),
        ({"lot": "ipa|B1"}, "filled_l", "30 litres"),
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
    run.tick("refit")
    assert words in run.refused("fill", filled_l=39.0, **answers)[field]


def test_an_old_lot_passes_with_the_word_of_a_lead(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
    run.tick("refit")
    run.lead("fill", "lot", reason="Tested clear this morning")
    run.tick("fill", filled_l=39.0, lot="ipa|OLD")
    assert state_of(store, "item", "ipa").lot("OLD").quantity == pytest.approx(11.0)


def test_two_lots_are_taken_from_the_shelf_as_they_were_filled(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.tick("inspect")
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
    run.tick("refit")
    assert "Do not pour one into the other" in run.refused("fill", filled_l=39, lot="ace|C3")["lot"]


def test_completing_is_refused_while_a_required_step_is_open(store: Store) -> None:
    run = Run(store)
    run.until_filled()
    with pytest.raises(FieldErrors) as caught:
        run.complete()
    assert "Look for leaks" in caught.value.by_field()["steps"]
    assert tank_row(store).fill == 0


def test_a_difference_past_the_tolerance_asks_for_a_note(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    swapping.undo(store, ROOM, run.key, "drain", run.hand(), NOW)
    run.tick("drain", drained_l=33.0, heel_l=0.5)
    run.tick("inspect")
    run.tick("rinse", rinse_l=0)
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=39.0)
    for step in ("leak_check", "read", "restart", "close_out"):
        run.tick(step, is_sure=True)
    with pytest.raises(FieldErrors) as caught:
        run.complete()
    assert "note" in caught.value.by_field()
    run.complete(note="Lid stood open over the weekend")
    assert run.state.end_note == "Lid stood open over the weekend"


def test_the_second_person_to_complete_hears_who_did(store: Store) -> None:
    run = Run(store)
    run.until_done()
    run.complete(by="Dunlin")
    with pytest.raises(Conflict, match="completed by Dunlin"):
        run.complete(by="Wren")
    with pytest.raises(Conflict, match="completed by Dunlin"):
        run.tick("sensor")
    assert tank_row(store).fill == 1


def test_a_completion_taken_back_leaves_the_swap_as_it_was_before(store: Store) -> None:
    run = Run(store)
    run.until_done()
    before = tank_row(store).mean_percent
    run.complete(closes_drum=True)
    swap_closing.reopen(store, ROOM, run.key, run.hand(), NOW)
    assert run.state.is_open
    assert tank_row(store).fill == 0
    assert tank_row(store).mean_percent == pytest.approx(before)
    assert not state_of(store, "drum", "d1").is_closed
    run.complete()
    assert tank_row(store).fill == 1


def test_a_swap_given_up_leaves_the_bath_and_keeps_its_pours(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    swapping.abandon(store, ROOM, run.key, run.hand(), NOW)
    assert run.state.end == "abandoned"
    assert tank_row(store).swap_started_at_us is None
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(39.0)
    with pytest.raises(Conflict, match="given up by Wren"):
        run.tick("inspect")


def test_a_swap_entered_at_once_ends_its_list(store: Store) -> None:
    run = Run(store)
    record(store, ROOM, [Swap(at=NOW, by="Wren", tank="t1", swap=run.key)], NOW)
    assert run.state.end == "entered"


def test_a_tank_has_one_swap_at_a_time(store: Store) -> None:
    run = Run(store)
    with pytest.raises(Conflict, match="under way, started by Wren"):
        swapping.start(store, ROOM, "t1", None, run.hand(), NOW)
    with pytest.raises(NotFound):
        swapping.start(store, ROOM, "nowhere", None, run.hand(), NOW)


def test_a_list_is_taken_up_for_a_swap_that_was_started_without_one(store: Store) -> None:
    record(store, ROOM, [SwapStarted(at=BEGAN, tank="t1")], NOW)
    Run(store)
    assert entries(store).count("swap_started") == 1


def test_a_swap_keeps_the_version_of_its_list(store: Store) -> None:
    run = Run(store)
    with Session(store.reader) as session:
        steps = [*map(dict, swapping.as_data(checklists.checklist(session, room_id(store)).steps))]
    steps[0]["title"] = "Clear the hall"
    edition = Checklist(at=NOW, by="Curlew", checklist="swap", name="Ours", version=2, steps=steps)
    checklists.keep_checklist(store, ROOM, edition, NOW)
    assert run.state.steps[0].title == "Clear the place"
    assert run.state.version == 1
    swapping.abandon(store, ROOM, run.key, run.hand(), NOW)
    assert Run(store).state.steps[0].title == "Clear the hall"
    with pytest.raises(Conflict, match="meanwhile"):
        checklists.keep_checklist(store, ROOM, edition, NOW)
    with pytest.raises(FieldErrors):
        checklists.keep_checklist(store, ROOM, replace(edition, by="Wren", version=3), NOW)


def test_a_pair_moves_the_clean_bath_and_fills_only_that_tank(store: Store) -> None:
    """The dirty tank gets what the clean one held; 39 L fresh go into the clean tank alone."""
    record(store, ROOM, [wash(2, tank="dirty", area_cm2=90000.0),
                         wash(1, tank="clean", area_cm2=9000.0)], NOW)  # fmt: skip
    dirty, clean = tank_row(store, "dirty"), tank_row(store, "clean")
    run = Run(store, "dirty", "clean")
    assert tank_row(store, "clean").swap_started_at_us is not None
    run.until_done()
    run.complete(note="Both stood open for a week")
    dirty_now, clean_now = tank_row(store, "dirty"), tank_row(store, "clean")
    assert dirty_now.mean_percent < dirty.mean_percent
    assert dirty_now.mean_percent == pytest.approx(clean.mean_percent, rel=0.5)
    assert clean_now.mean_percent < 0.5 * clean.mean_percent
    assert (dirty_now.fill, clean_now.fill) == (1, 1)
    assert state_of(store, "item", "ipa").on_hand == pytest.approx(140 - 41.0)
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(41.0)


def test_only_its_own_clean_bath_is_moved_into_a_tank(store: Store) -> None:
    with pytest.raises(FieldErrors):
        swapping.start(store, ROOM, "t1", "clean", Hand(NOW, "Wren"), NOW)


def test_what_was_seen_at_a_step_stays_with_it(store: Store) -> None:
    run = Run(store)
    at = run.hand().at
    seen = StepNoted(at=at, by="Wren", swap=run.key, step="drain", text="Flow is slow")
    swapping.note(store, ROOM, seen, NOW)
    assert [(one.step, one.text) for one in run.state.notes] == [("drain", "Flow is slow")]


def test_a_tick_before_the_start_is_refused(store: Store) -> None:
    run = Run(store)
    said = Said("prepare", Hand(BEGAN - timedelta(days=1), "Wren"), {}, frozenset(range(3)))
    with pytest.raises(FieldErrors) as caught:
        tick(store, ROOM, run.key, said, NOW)
    assert "began later" in caught.value.by_field()["at"]


def test_a_point_that_is_not_confirmed_holds_the_step_back(store: Store) -> None:
    run = Run(store)
    said = Said("protect", run.hand(), {}, frozenset({0}))
    with pytest.raises(FieldErrors) as caught:
        tick(store, ROOM, run.key, said, NOW)
    assert set(caught.value.by_field()) == {"confirm_1", "confirm_2"}


def test_the_swap_is_the_same_after_everything_is_worked_out_anew(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.lead("wipe", "step")
    before = run.state
    rebuild_room(store, ROOM, NOW)
    assert run.state == before


THREADS, TRIES = 20, 500


def test_500_ticks_from_20_clients_tick_each_step_once_and_keep_every_attempt(
    store: Store,
) -> None:
    run = Run(store)
    steps = ["prepare", "protect", "isolate", "bond", "wipe"]
    confirmed = frozenset(range(8))
    drained = {"choose_drum": {"drum": "d1"}, "drain": {"drained_l": 39.0}}
    for step in ("protect", "choose_drum"):
        tick(store, ROOM, run.key, Said(step, run.hand(), drained.get(step, {}), confirmed), NOW)
    targets = [*steps, "drain"]
    barrier, troubles = threading.Barrier(THREADS), []

    def client(number: int) -> None:
        barrier.wait()
        for turn in range(TRIES // THREADS):
            step = targets[(number + turn) % len(targets)]
            hand = Hand(NOW - timedelta(minutes=20), f"Client {number}")
            said = Said(step, hand, drained.get(step, {}), confirmed)
            try:
                tick(store, ROOM, run.key, said, NOW, f"{number}-{turn}")
            except Exception as trouble:
                troubles.append(trouble)

    threads = [threading.Thread(target=client, args=(number,)) for number in range(THREADS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert troubles == []
    state = run.state
    assert sorted(one.step for one in state.ticks) == sorted({*targets, "choose_drum"})
    kept = sum(one.count for one in state.attempts) + len(state.ticks)
    assert kept == len(entries(store, StepDone.kind)) == TRIES + 2
    assert len(entries(store, "pour")) == 1
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(39.0)
