"""The inspection as a step of a swap: what was not seen does not let it pass."""

from pathlib import Path

import pytest

from app.domain.inspections.conditions import CONDITIONS
from app.domain.roomlog.kinds.inspections import (
    Component,
    InspectionAnswered,
    InspectionClosed,
    InspectionStarted,
)
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
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
