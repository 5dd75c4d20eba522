"""A problem that is opened again holds again what its report put out of use."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.incidents.guides import GUIDES
from app.domain.roomlog.kinds.incidents import (
    HOLD,
    Incident,
    IncidentClosed,
    IncidentReopened,
    IncidentStep,
    TankReleased,
)
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import DrumQuarantined, DrumReleased
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing
from tests.factories import NOW, ROOM, START, wash
from tests.services.waste_room import state, waste_room

BEFORE = NOW - timedelta(days=1)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = waste_room(tmp_path)
    record(made, ROOM, [CrewMember(at=START, crew="crew", name="Curlew", role="lead")], NOW)
    leak = Incident(at=BEFORE, by="Wren", incident="i1", problem="leak", tank="t1", drum="d1")
    enter(made, ROOM, [leak], BEFORE)
    yield made
    made.close()


def hold(store: Store) -> Any:
    with Session(store.reader) as session:
        return thing(session, find_room(session, ROOM).id or 0, HOLD, "t1")


def settle(store: Store, at: datetime) -> None:
    shared: dict[str, Any] = {"at": at, "incident": "i1", "by": "Wren"}
    enter(store, ROOM, [
        *(IncidentStep(step=step, **shared) for step in GUIDES["leak"].required),
        IncidentClosed(lead="Curlew", reason="Seal replaced", **shared),
    ], at)  # fmt: skip


def again(store: Store) -> None:
    word = IncidentReopened(at=NOW, by="Wren", incident="i1", reason="It drips again")
    enter(store, ROOM, [word], NOW)


def test_what_a_lead_had_released_is_held_again(store: Store) -> None:
    """The release was of a tank that had stopped dripping."""
    at = NOW - timedelta(hours=2)
    enter(store, ROOM, [
        TankReleased(at=at, tank="t1", lead="Curlew", reason="Dry", by="Curlew"),
        DrumReleased(at=at, drum="d1", lead="Curlew", reason="Dry", by="Curlew"),
    ], at)  # fmt: skip
    settle(store, at)
    again(store)
    with pytest.raises(FieldErrors, match="It drips again"):
        enter(store, ROOM, [wash(0)], NOW)
    assert state(store).is_quarantined
    assert "It drips again" in state(store).quarantine_reason
    enter(store, ROOM, [
        TankReleased(at=NOW, tank="t1", lead="Curlew", reason="Dry now", by="Curlew")
    ], NOW)  # fmt: skip
    enter(store, ROOM, [wash(0)], NOW)


def test_what_is_held_still_is_not_held_twice(store: Store) -> None:
    settle(store, NOW - timedelta(hours=2))
    again(store)
    assert len(hold(store).holds) == 1
    assert "again" not in state(store).quarantine_reason


def test_a_drum_in_quarantine_for_something_else_is_there_for_this_as_well(store: Store) -> None:
    """Whoever releases it for a label that is right now has to read that it drips again."""
    at = NOW - timedelta(hours=2)
    enter(store, ROOM, [
        DrumReleased(at=at, drum="d1", lead="Curlew", reason="Dry", by="Curlew"),
    ], at)  # fmt: skip
    settle(store, at)
    other = DrumQuarantined(at=at, by="Wren", drum="d1", reason="Label torn off")
    enter(store, ROOM, [other], at)
    again(store)
    assert "Label torn off" in state(store).quarantine_reason
    assert "It drips again" in state(store).quarantine_reason


def test_its_follow_ups_are_to_be_done_again_before_it_is_closed(store: Store) -> None:
    """The spill kit that was refilled after the first leak says nothing of the second."""
    settle(store, NOW - timedelta(hours=2))
    again(store)
    word = IncidentClosed(at=NOW, incident="i1", lead="Curlew", reason="Seal replaced", by="Wren")
    with pytest.raises(FieldErrors, match="Not yet"):
        enter(store, ROOM, [word], NOW)
    settle(store, NOW)
    with pytest.raises(FieldErrors, match="already closed"):
        enter(store, ROOM, [word], NOW)
