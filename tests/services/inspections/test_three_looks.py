"""Looks at a full tank find, and take the place of no look at the empty one."""

from datetime import datetime
from pathlib import Path

import pytest

from app.domain.inspections.conditions import asked
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionOverruled,
    InspectionStarted,
)
from app.services.door import bring_in as record
from app.services.duties.due import due
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.queries import board
from app.store.sessions import reading
from tests.factories import NOW, ROOM, START
from tests.services.swaps.led import Run, state_of, swap_store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A room for swaps whose tank t1 has a drain and an agitator motor."""
    made = swap_store(tmp_path)
    parts = [
        Component(at=START, component="d", part="drain", name="Drain", tank="t1"),
        Component(at=START, component="m", part="agitator_motor", name="Motor", tank="t1"),
    ]
    record(made, ROOM, parts, NOW)
    return made


def look(run: Run, store: Store, key: str, when: str, *yes: str, other: str = "no") -> None:
    """Both parts are looked at, as far as they are asked about, and the inspection is signed."""
    began = run.hand().at
    parts = [
        {"component": one, "part": part, "name": one}
        for one, part in (("d", "drain"), ("m", "agitator_motor"))
        if asked(part, when)
    ]
    said = [
        InspectionAnswered(
            at=run.hand().at, inspection=key, component=one["component"], look=when,
            answers={q.key: "yes" if q.key in yes else other for q in asked(one["part"], when)},
        )
        for one in parts
    ]  # fmt: skip
    record(store, ROOM, [
        InspectionStarted(at=began, inspection=key, tank="t1", look=when, positions=parts),
        *said, InspectionClosed(at=run.hand().at, by="Wren", inspection=key),
    ], NOW)  # fmt: skip


def test_a_look_while_full_is_no_look_at_the_empty_tank(store: Store) -> None:
    run = Run(store)
    look(run, store, "i1", "full")
    run.until_drained()
    assert "Nobody has checked this tank's parts in this swap" in run.refused("inspect")["gate"]
    assert state_of(store, "component", "m").verdict == ""
    look(run, store, "i2", "empty")
    run.tick("inspect")


def proof_of(store: Store, tank: str = "t1") -> datetime | None:
    """When the log last shows that the pump, impeller and seals of a tank were inspected."""
    with reading(store) as session:
        room = find_room(session, ROOM)
        items = due(session, room, board(session, room.id or 0, NOW).tanks, NOW)
    (item,) = (one for one in items if one.duty.key == "inspection" and one.subject.key == tank)
    return item.last.at if item.last is not None else None


@pytest.mark.parametrize("when", ["full", "refilled"])
def test_only_a_look_at_the_empty_tank_ticks_off_its_inspection(store: Store, when: str) -> None:
    run = Run(store)
    look(run, store, "i1", when)
    assert proof_of(store) is None
    look(run, store, "i2", "empty")
    inspected_at = proof_of(store)
    assert inspected_at is not None
    look(run, store, "i3", when)
    assert proof_of(store) == inspected_at


def test_an_inspection_of_the_sensor_alone_is_none_of_the_other_parts(store: Store) -> None:
    run = Run(store)
    parts = [{"component": "s", "part": "sensor", "name": "Sensor"}]
    said = {q.key: "no" for q in asked("sensor", "empty")}
    record(store, ROOM, [
        Component(at=START, component="s", part="sensor", name="Sensor", tank="t1"),
        InspectionStarted(at=run.hand().at, inspection="i1", tank="t1", positions=parts),
        InspectionAnswered(at=run.hand().at, inspection="i1", component="s", answers=said),
        InspectionClosed(at=run.hand().at, by="Wren", inspection="i1"),
    ], NOW)  # fmt: skip
    assert proof_of(store) is None


def test_what_was_heard_while_full_stands_until_the_same_look_finds_it_in_order(
    store: Store,
) -> None:
    run = Run(store)
    look(run, store, "i1", "full", "motor_noise")
    run.until_drained()
    look(run, store, "i2", "empty")
    motor = state_of(store, "component", "m")
    assert (motor.verdict, motor.is_watched) == ("replace", True)
    run.tick("inspect")
    run.tick("rinse", rinse_l=2.0, lot="ipa|A7")
    run.tick("wipe")
    assert "Replace first: Motor" in run.refused("refit")["gate"]
    new = ComponentReplaced(at=run.hand().at, component="m", because="finding")
    record(store, ROOM, [new], NOW)
    motor = state_of(store, "component", "m")
    assert (motor.partial, motor.past[-1].found_at is not None) == ((), True)
    run.tick("refit")


def test_the_same_look_clears_what_it_found_and_a_lead_says_otherwise(store: Store) -> None:
    run = Run(store)
    look(run, store, "i1", "full", "motor_noise")
    look(run, store, "i2", "full", other="unseen")  # nobody could hear it: what was found stands
    assert state_of(store, "component", "m").verdict == "replace"
    word = InspectionOverruled(
        at=run.hand().at, inspection="i1", component="m", verdict="watch", lead="Curlew",
        reason="A new bearing runs in",
    )  # fmt: skip
    record(store, ROOM, [word], NOW)
    assert state_of(store, "component", "m").verdict == "watch"
    look(run, store, "i3", "full")
    assert state_of(store, "component", "m").verdict == ""


def test_a_drain_that_weeps_after_the_refill_is_out_of_service(store: Store) -> None:
    run = Run(store)
    look(run, store, "i1", "empty")
    look(run, store, "i2", "refilled", "drain_weeps")
    drain = state_of(store, "component", "d")
    assert (drain.verdict, drain.standing.look) == ("take_out_of_service", "refilled")
    assert state_of(store, "component", "m").verdict == "serviceable"
