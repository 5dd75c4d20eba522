"""The inspection as a step of a swap: what was not seen does not let it pass."""

from pathlib import Path

import pytest

from app.domain.inspections.conditions import CONDITIONS
from app.domain.roomlog.kinds.inspections import (
    Component,
    ComponentReplaced,
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.looks import look_round
from tests.services.swaps.led import Run, swap_store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    """A room for swaps whose tank t1 has a washer."""
    made = swap_store(tmp_path)
    washer = Component(at=START, component="w", part="washer", name="Washer 1", tank="t1")
    record(made, ROOM, [washer], NOW)
    return made


def look(run: Run, store: Store, key: str, answer: str) -> None:
    """The washer is looked at, and the inspection signed."""
    position = {"component": "w", "part": "washer", "name": "Washer 1"}
    answers = {one.key: answer for one in CONDITIONS["washer"]}
    at = run.hand().at
    record(store, ROOM, [
        InspectionStarted(at=at, inspection=key, tank="t1", swap=run.key, positions=[position]),
        InspectionAnswered(at=run.hand().at, inspection=key, component="w", answers=answers),
        InspectionClosed(at=run.hand().at, by="Wren", inspection=key),
    ], NOW)  # fmt: skip


def test_the_step_waits_for_a_part_that_could_not_be_seen_or_for_a_leads_word(
    store: Store,
) -> None:
    run = Run(store)
    run.until_drained()
    look(run, store, "i1", "unseen")
    assert "Nothing could be seen of Washer 1" in run.refused("inspect")["gate"]
    run.lead("inspect", "inspection", reason="New three days ago")
    run.tick("inspect")


def test_a_second_look_lets_the_step_pass(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    look(run, store, "i1", "unseen")
    look(run, store, "i2", "no")
    run.tick("inspect")


def test_nobody_having_looked_does_not_let_it_pass(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    assert "Nobody has checked this tank's parts in this swap" in run.refused("inspect")["gate"]
    look(run, store, "i1", "no")
    run.tick("inspect")


def test_a_lead_lets_a_swap_pass_that_nobody_looked_at_with_a_reason(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.lead("inspect", "inspection", reason="Looked at yesterday, on paper")
    run.tick("inspect")


@pytest.fixture
def sealed(store: Store) -> Store:
    """The tank has a shaft seal and a sensor besides."""
    record(store, ROOM, [
        Component(at=START, component="seal", part="shaft_seal", name="Shaft seal", tank="t1"),
        Component(at=START, component="probe", part="sensor", name="Probe", tank="t1"),
    ], NOW)  # fmt: skip
    return store


def test_a_look_at_one_part_is_none_at_the_others(sealed: Store) -> None:
    run = Run(sealed)
    run.until_drained()
    look(run, sealed, "i1", "no")
    assert "Nobody has checked Probe, Shaft seal in this swap" in run.refused("inspect")["gate"]


def test_a_part_that_was_fitted_in_the_swap_says_nothing_of_the_others(sealed: Store) -> None:
    run = Run(sealed)
    run.until_drained()
    fitted = ComponentReplaced(at=run.hand().at, component="w", because="planned")
    record(sealed, ROOM, [fitted], NOW)
    refused = run.refused("inspect")["gate"]
    assert "Nobody has checked Probe, Shaft seal in this swap" in refused
    look_round(sealed, "t1", "empty", run.hand().at)
    run.tick("inspect")


def test_a_leads_word_lets_no_inspection_pass_that_begins_after_it(store: Store) -> None:
    run = Run(store)
    run.until_drained()
    run.lead("inspect", "inspection", reason="Looked at yesterday, on paper")
    run.tick("inspect")
    run.tick("sensor", sensor_state="damaged")
    run.tick("wipe")
    assert "begun but is not signed" in run.refused("refit")["gate"]
    run.lead("refit", "inspection", reason="Sensor taken out, read by hand")
    run.tick("refit")
