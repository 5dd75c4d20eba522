"""A swap led by its checklist: who does what, what waits for what, two at once."""

import threading
from dataclasses import replace
from datetime import timedelta

import pytest
from sqlmodel import Session, select

from app.domain.errors import Conflict, FieldErrors, LeadNeeded, NotFound
from app.domain.roomlog.kinds import Entry, SwapStarted
from app.domain.roomlog.kinds.checklists import (
    Checklist,
    StepDone,
    StepNoted,
    StepOverruled,
    SwapClosed,
)
from app.domain.roomlog.kinds.incidents import TankHeld
from app.services.acts.swaps import contents, editions, swapping
from app.services.acts.swaps import remarks as swap_words
from app.services.acts.swaps.ticking import Said, tick
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.entries import entry_of
from app.services.swaps.checklists import checklist
from app.services.swaps.under_way import Hand
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.factories import NOW, ROOM
from tests.services.swaps.led import BEGAN, Run, entries, room_id, state_of


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


def test_a_lead_lets_nothing_pass_that_is_found_only_later(store: Store) -> None:
    run = Run(store)
    run.lead("fill", "inspection", by="Curlew")
    run.lead("inspect", "part", by="Curlew")
    run.until_drained()
    found = TankHeld(at=run.hand().at, by="Wren", tank="t1", cause="inspection", inspection="n1",
                     reason="The impeller is cracked")  # fmt: skip
    record(store, ROOM, [found], NOW)
    run.tick("inspect")
    run.tick("rinse", rinse_l=2.0, lot="ipa|A7")
    run.tick("wipe")
    run.tick("refit")
    said = run.refused("fill", filled_l=39.0, lot="ipa|A7")
    assert "The impeller is cracked" in said["gate"]
    with pytest.raises(FieldErrors) as caught:
        run.lead("fill", "inspection", by="Curlew")
    assert "second" in caught.value.by_field()


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
        steps = [*map(dict, swapping.as_data(checklist(session, room_id(store)).steps))]
    steps[0]["title"] = "Clear the hall"
    edition = Checklist(at=NOW, by="Curlew", checklist="swap", name="Ours", version=2, steps=steps)
    editions.keep_checklist(store, ROOM, edition, NOW)
    assert run.state.steps[0].title == "Clear the place"
    assert run.state.version == 1
    contents.give_up(store, ROOM, run.key, run.hand(), NOW)
    assert Run(store).state.steps[0].title == "Clear the hall"
    with pytest.raises(Conflict, match="meanwhile"):
        editions.keep_checklist(store, ROOM, edition, NOW)
    with pytest.raises(FieldErrors):
        editions.keep_checklist(store, ROOM, replace(edition, by="Wren", version=3), NOW)


def test_what_was_seen_at_a_step_stays_with_it(store: Store) -> None:
    run = Run(store)
    at = run.hand().at
    seen = StepNoted(at=at, by="Wren", swap=run.key, step="drain", text="Flow is slow")
    swap_words.note(store, ROOM, seen, NOW)
    assert [(one.step, one.text) for one in run.state.notes] == [("drain", "Flow is slow")]


def test_a_tick_before_the_start_is_refused(store: Store) -> None:
    run = Run(store)
    said = Said("prepare", Hand(BEGAN - timedelta(days=1), "Wren"), {}, frozenset(range(3)))
    with pytest.raises(FieldErrors) as caught:
        tick(store, ROOM, run.key, said, NOW)
    assert "began later" in caught.value.by_field()["at"]


THREADS, TRIES = 20, 500


def test_500_ticks_from_20_clients_tick_each_step_once_and_keep_every_attempt(
    store: Store,
) -> None:
    run = Run(store)
    steps = ["prepare", "protect", "isolate", "bond", "close_out"]
    confirmed = frozenset(range(8))
    drained = {"choose_drum": {"drum": "d1"}, "drain": {"drained_l": 39.0}}
    for step in ("protect", "isolate", "choose_drum", "bond"):
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
    assert kept == len(entries(store, StepDone.kind)) == TRIES + 4
    assert len(entries(store, "pour")) == 1
    assert state_of(store, "drum", "d1").volume_l == pytest.approx(39.0)


def test_what_a_program_sends_is_held_against_the_swap_as_well(store: Store) -> None:
    run = Run(store)
    run.tick("prepare")
    first = run.state.tick("prepare")
    assert first is not None

    def refused(entry: Entry, field: str, words: str) -> None:
        with pytest.raises(FieldErrors) as caught:
            enter(store, ROOM, [entry], NOW)
        assert words in caught.value.by_field()[field]

    done = StepDone(at=NOW, swap=run.key, step="prepare", by="Dunlin")
    refused(done, "step", "Wren has already done this")
    enter(store, ROOM, [replace(done, repeats=first.id)], NOW)
    refused(replace(done, step="drain"), "step", "Protection is not confirmed")
    refused(replace(done, step="dance"), "step", "no such step")
    refused(replace(done, swap="nowhere"), "swap", "no swap")
    word = StepOverruled(at=NOW, by="Wren", swap=run.key, step="drain", gate="ppe", reason="No")
    with pytest.raises(LeadNeeded):
        enter(store, ROOM, [word], NOW)
    closed = SwapClosed(at=NOW, swap=run.key, tank="t1", estimated_l=1, drained_l=1, rinsed_l=0,
                        heel_l=0, filled_l=1, loss_l=0)  # fmt: skip
    refused(closed, "swap", "Still open")
    with Session(store.reader) as session:
        [row] = session.exec(select(EntryRow).where(EntryRow.kind == "swap_opened")).all()
        opened = entry_of(row)
    refused(replace(opened, id=""), "swap", "already has this key")
    refused(replace(opened, id="", swap="other"), "tank", "already under way")
