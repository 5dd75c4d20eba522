"""A drum in quarantine that is found faulty again is in quarantine for both reasons."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from sqlmodel import Session

from app.domain.roomlog.kinds import Withdrawal
from app.domain.roomlog.kinds.incidents import INCIDENT, Incident
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.waste import DrumChecked, DrumQuarantined, DrumReleased
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.things import thing
from tests.factories import NOW, ROOM, START
from tests.services.waste_room import ago, state, waste_room

LABEL = DrumQuarantined(at=ago(0.002), by="Wren", drum="d1", reason="No label.", id="label")
LEAK = Incident(at=ago(0.001), by="Dunlin", incident="i1", problem="leak", drum="d1")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = waste_room(tmp_path)
    record(made, ROOM, [CrewMember(at=START, crew="crew", name="Curlew", role="lead")], NOW)
    enter(made, ROOM, [LABEL], NOW)
    yield made
    made.close()


def test_a_leak_that_is_reported_is_a_second_reason(store: Store) -> None:
    enter(store, ROOM, [LEAK], NOW)
    assert state(store).quarantine_reason.startswith("No label; Leak")
    with Session(store.reader) as session:
        found = thing(session, find_room(session, ROOM).id or 0, INCIDENT, "i1")
    assert found.quarantined == ("d1",)


def test_the_first_reason_taken_back_leaves_the_second(store: Store) -> None:
    enter(store, ROOM, [LEAK], NOW)
    enter(store, ROOM, [Withdrawal(at=NOW, by="Wren", withdraws="label")], NOW)
    assert state(store).is_quarantined
    assert state(store).quarantine_reason.startswith("Leak")


def test_a_second_word_and_a_check_stand_beside_the_first_once_each(store: Store) -> None:
    smell = DrumQuarantined(at=ago(0.001), by="Dunlin", drum="d1", reason="Smells of ether")
    warm = DrumChecked(at=ago(0.0005), drum="d1", by="Dunlin", is_warm=True)
    enter(store, ROOM, [smell, warm], NOW)
    enter(store, ROOM, [DrumQuarantined(at=NOW, by="Wren", drum="d1", reason="No label")], NOW)
    assert state(store).quarantine_reason == (
        "No label; Smells of ether; Warm, hissing or bulging at its check: keep away"
    )
    release = DrumReleased(at=NOW, drum="d1", lead="Curlew", reason="All three settled")
    enter(store, ROOM, [release], NOW)
    assert not state(store).is_quarantined
    assert state(store).quarantine_reason == ""
