"""A drum reported warm, hissing or bulging is warm by whichever door it was reported."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.waste import DrumClosed, DrumReleased
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM
from tests.services.waste_room import ago, pour, refused, state, waste_room


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    made = waste_room(tmp_path)
    record(made, ROOM, [pour(2, 20.0, tank="t1")], NOW)
    yield made
    made.close()


def warm() -> Incident:
    return Incident(at=ago(0.1), incident="i1", problem="drum_warm", drum="d1", people="Wren")


def test_a_report_alone_keeps_it_from_being_poured_into_and_closed(store: Store) -> None:
    """A closed drum in which resin reacts bursts (reports of burst waste drums; second hand)."""
    record(store, ROOM, [warm()], NOW)
    assert state(store).is_warm
    assert state(store).is_quarantined
    assert not state(store, "d2").is_warm
    close = DrumClosed(at=NOW, drum="d1", is_cool=True)
    assert "Drum warm, hissing or bulging" in str(refused(store, close))
    assert "keep away from it" in str(refused(store, pour(0, 1.0, tank="t1")))


def test_a_lead_who_releases_it_ends_that_and_another_problem_warms_nothing(store: Store) -> None:
    record(store, ROOM, [
        warm(), DrumReleased(at=ago(0.05), drum="d1", lead="Curlew", reason="Cold, tested"),
        Incident(at=ago(0.04), incident="i2", problem="near_miss", drum="d1", people="Wren"),
    ], NOW)  # fmt: skip
    assert not state(store).is_warm
    assert not state(store).is_quarantined
