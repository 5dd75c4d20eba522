"""A swap asks for the look at the full tank and for the one ten minutes after the fill.

What is asked and how long a cloth lies there: common practice, no source.
"""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from app.domain.errors import FieldErrors
from app.domain.holds import HoldState
from app.domain.roomlog.kinds import Swap
from app.domain.roomlog.kinds.checklists import StepDone
from app.domain.roomlog.kinds.incidents import TankReleased
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.swaps.looks import refilled_from
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.looks import answers_of, look_round
from tests.services.swaps.led import Run, entries, state_of, swap_store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A room for swaps: t1 has a drain, a hose and a strainer, the pair a drain each."""
    made = swap_store(tmp_path)
    tanks = {"d": ("drain", "t1"), "h": ("hose", "t1"), "s": ("strainer", "t1"),
             "dd": ("drain", "dirty"), "cd": ("drain", "clean")}  # fmt: skip
    parts = [
        Component(at=START, component=key, part=part, name=part.title(), tank=tank)
        for key, (part, tank) in tanks.items()
    ]
    record(made, ROOM, parts, NOW)
    return made


def until_checked(run: Run) -> None:
    """Filled and looked at for leaks; the empty look is let pass by a lead."""
    look_round(run.store, "t1", "full", run.hand().at)
    run.until_bonded()
    run.tick("drain", drained_l=39.0)
    run.lead("inspect", "inspection", reason="Looked at yesterday, on paper")
    run.tick("inspect")
    run.tick("rinse", rinse_l=2.0, lot="ipa|A7")
    run.tick("wipe")
    run.tick("refit")
    run.tick("fill", filled_l=39.0, lot="ipa|A7")
    run.tick("leak_check", is_sure=True)
    run.tick("read", is_sure=True)


def test_the_drain_waits_for_the_look_at_the_full_tank(store: Store) -> None:
    run = Run(store)
    run.until_bonded()
    refused = run.refused("drain", drained_l=39.0)["gate"]
    assert "while it is full" in refused
    look_round(store, "t1", "full", run.hand().at)
    run.tick("drain", drained_l=39.0)


def test_a_program_waits_for_it_too(store: Store) -> None:
    run = Run(store)
    run.until_bonded()
    step = StepDone(at=run.hand().at, by="Wren", swap=run.key, step="drain",
                    answers={"drained_l": 39.0, "heel_l": 1.0})  # fmt: skip
    with pytest.raises(FieldErrors) as caught:
        enter(store, ROOM, [step], NOW)
    assert "while it is full" in caught.value.by_field()["step"]


def test_a_lead_passes_it_with_a_reason_that_stays(store: Store) -> None:
    run = Run(store)
    run.until_bonded()
    with pytest.raises(FieldErrors):
        run.lead("fill", "full_look", reason="Elsewhere it changes nothing")
    with pytest.raises(FieldErrors):
        run.lead("drain", "full_look", by="Wren")
    run.lead("drain", "full_look", reason="Pump is dead, nothing to hear")
    run.tick("drain", drained_l=39.0)
    assert run.state.overrules[-1].reason == "Pump is dead, nothing to hear"


def test_a_look_of_the_day_before_counts_and_an_older_one_does_not(store: Store) -> None:
    began = NOW - timedelta(hours=3)
    look_round(store, "t1", "full", began - timedelta(hours=30))
    run = Run(store)
    run.until_bonded()
    assert "while it is full" in run.refused("drain", drained_l=39.0)["gate"]
    look_round(store, "t1", "full", began - timedelta(hours=5))
    run.tick("drain", drained_l=39.0)


def test_a_full_look_says_nothing_of_a_part_fitted_since(store: Store) -> None:
    began = NOW - timedelta(hours=3)
    look_round(store, "t1", "full", began - timedelta(hours=5))
    fitted = ComponentReplaced(at=began - timedelta(hours=4), component="h", because="age")
    record(store, ROOM, [fitted], NOW)
    run = Run(store)
    run.until_bonded()
    assert "while it is full" in run.refused("drain", drained_l=39.0)["gate"]
    look_round(store, "t1", "full", run.hand().at)
    run.tick("drain", drained_l=39.0)


def test_a_full_look_says_nothing_of_a_bath_filled_since(store: Store) -> None:
    began = NOW - timedelta(hours=3)
    look_round(store, "t1", "full", began - timedelta(hours=5))
    again = Swap(at=began - timedelta(hours=1), tank="t1", drained_l=38.0, filled_l=39.0)
    record(store, ROOM, [again], NOW)
    run = Run(store)
    run.until_bonded()
    assert "while it is full" in run.refused("drain", drained_l=39.0)["gate"]


def test_of_what_nobody_could_see_at_all_it_was_no_look(store: Store) -> None:
    run = Run(store)
    look_round(store, "t1", "full", run.hand().at, other="unseen")
    run.until_bonded()
    assert "while it is full" in run.refused("drain", drained_l=39.0)["gate"]


def test_what_drips_at_the_full_look_holds_the_tank_and_shuts_the_fill(store: Store) -> None:
    run = Run(store)
    done = look_round(store, "t1", "full", run.hand().at, "drain_drips")
    hold: HoldState = state_of(store, "hold", "t1")
    assert [one.cause for one in hold.holds] == ["inspection"]
    assert len(done.ids) >= 4  # begun, held, answered: in one transaction


def test_the_restart_waits_for_a_look_ten_minutes_after_the_fill(store: Store) -> None:
    run = Run(store)
    until_checked(run)
    assert "a slow leak needs ten minutes" in run.refused("restart")["gate"]
    filled_at = run.state.tick("fill").at  # type: ignore[union-attr]
    with pytest.raises(FieldErrors) as caught:
        look_round(store, "t1", "refilled", filled_at + timedelta(minutes=9))
    assert "Look again from" in caught.value.by_field()["at"]
    look_round(store, "t1", "refilled", filled_at + timedelta(minutes=10))
    run.tick("restart")


def test_the_look_begins_with_a_whole_minute(store: Store) -> None:
    """A page says 'from 12:21 on': what it says is what counts."""
    run = Run(store)
    until_checked(run)
    state = run.state
    assert state is not None
    tick = state.tick("fill")
    assert tick is not None
    late = replace(tick, at=tick.at.replace(second=26))
    shifted = replace(state, ticks=tuple(late if one is tick else one for one in state.ticks))
    on = refilled_from(shifted, "t1")
    assert on == tick.at.replace(second=0) + timedelta(minutes=11)


def test_a_weep_holds_the_tank_at_once_however_early_it_is_seen(store: Store) -> None:
    run = Run(store)
    until_checked(run)
    before = len(entries(store))
    look_round(store, "t1", "refilled", run.hand().at, "drain_weeps")
    kinds = entries(store)[before:]
    assert kinds.index("tank_held") < kinds.index("inspection_answered", kinds.index("tank_held"))
    assert state_of(store, "hold", "t1").is_held
    assert "Leave it switched off" in run.refused("restart")["gate"]


def found_weeping(run: Run, store: Store) -> None:
    """Ten minutes after the fill the drain weeps; it is signed, and two people let the tank go."""
    filled_at = run.state.tick("fill").at  # type: ignore[union-attr]
    at = filled_at + timedelta(minutes=10)
    run.minute += 10
    positions = [
        {"component": one, "part": part, "name": part.title()}
        for one, part in (("d", "drain"), ("h", "hose"))
    ]
    said = answers_of(store, "t1", "refilled", "drain_weeps")
    record(store, ROOM, [
        InspectionStarted(
            at=at, by="Wren", inspection="i1", tank="t1", look="refilled", positions=positions
        ),
        *(
            InspectionAnswered(
                at=at, by="Wren", inspection="i1", component=key, look="refilled",
                answers=dict(said[key]), no_photo="Wet gloves",
            )
            for key in ("d", "h")
        ),
        InspectionClosed(at=at, by="Wren", inspection="i1"),
        TankReleased(
            at=run.hand().at, by="Curlew", tank="t1", lead="Curlew", second="Wren",
            reason="Drain tightened",
        ),
    ], NOW)  # fmt: skip


def test_a_look_that_found_a_leak_is_not_the_one_that_the_restart_waits_for(
    store: Store,
) -> None:
    run = Run(store)
    until_checked(run)
    found_weeping(run, store)
    assert "The last look found a leak" in run.refused("restart")["gate"]
    look_round(store, "t1", "refilled", run.hand().at)
    run.tick("restart")


def test_a_lead_who_knows_of_the_leak_may_still_let_it_restart(store: Store) -> None:
    run = Run(store)
    until_checked(run)
    found_weeping(run, store)
    run.lead("restart", "refilled_look", reason="Dried and watched for an hour")
    run.tick("restart")


def test_a_leads_word_from_before_the_leak_lets_nothing_restart(store: Store) -> None:
    """Whoever let the look pass did not know what it would find."""
    run = Run(store)
    until_checked(run)
    run.lead("restart", "refilled_look", reason="Late shift, looked at by torch")
    found_weeping(run, store)
    assert "The last look found a leak" in run.refused("restart")["gate"]
    run.lead("restart", "refilled_look", reason="Dried and watched for an hour")
    run.tick("restart")


def test_a_part_that_is_fitted_after_the_look_is_looked_at_ten_minutes_later(
    store: Store,
) -> None:
    run = Run(store)
    until_checked(run)
    filled_at = run.state.tick("fill").at  # type: ignore[union-attr]
    look_round(store, "t1", "refilled", filled_at + timedelta(minutes=10))
    run.minute += 10
    fitted_at = run.hand().at
    new = ComponentReplaced(at=fitted_at, by="Wren", component="h", because="other")
    record(store, ROOM, [new], NOW)
    assert "a slow leak needs ten minutes" in run.refused("restart")["gate"]
    with pytest.raises(FieldErrors):
        look_round(store, "t1", "refilled", fitted_at + timedelta(minutes=9))
    look_round(store, "t1", "refilled", fitted_at + timedelta(minutes=10))
    run.tick("restart")


def test_a_lead_passes_the_second_look_with_a_reason(store: Store) -> None:
    run = Run(store)
    until_checked(run)
    run.lead("restart", "refilled_look", reason="Looked at, written on paper")
    run.tick("restart")


def test_each_tank_of_a_pair_is_looked_at(store: Store) -> None:
    run = Run(store, "dirty", "clean")
    run.until_bonded()
    look_round(store, "dirty", "full", run.hand().at)
    assert "while it is full" in run.refused("drain", drained_l=39.0)["gate"]
    look_round(store, "clean", "full", run.hand().at)
    run.tick("drain", drained_l=39.0)


def test_a_room_without_parts_is_not_asked(tmp_path: Path) -> None:
    run = Run(swap_store(tmp_path))
    run.until_done()
    assert run.complete(note="As always").ids


def test_a_question_left_out_stores_nothing(store: Store) -> None:
    before = entries(store)
    with pytest.raises(FieldErrors) as caught:
        look_round(store, "t1", "full", NOW, other="perhaps")
    assert "d.drain_drips" in caught.value.by_field()
    assert entries(store) == before
