"""Figures that no door stores unasked: a weak fill, a close unlike the log, a soak of seconds."""

from datetime import timedelta
from pathlib import Path

import pytest

from app.domain.errors import Doubtful
from app.domain.roomlog.kinds import Entry, Swap, TopUp
from app.domain.roomlog.kinds.duties import MonthClose
from app.domain.roomlog.kinds.inspections import SoakEnded, SoakStarted
from app.services.door import bring_in as record
from app.services.door import enter
from app.store.engine import Store
from tests.factories import NOW, ROOM, START, furnish
from tests.furnished import new_store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    made = new_store(tmp_path)
    furnish(made)
    record(made, ROOM, [
        MonthClose(at=START, tank="t1", is_at_line=True),
        TopUp(at=START + timedelta(days=1), tank="t1", volume_l=0.9),
        SoakStarted(at=NOW - timedelta(seconds=30), soak="o1", name="O-ring", tank="t1",
                    mass_before_g=2.0),
        SoakStarted(at=NOW - timedelta(hours=71), soak="o2", name="O-ring", tank="t1",
                    mass_before_g=2.0),
    ], NOW)  # fmt: skip
    return made


def swap(percent: float) -> Swap:
    return Swap(at=NOW, tank="t1", drained_l=39.0, filled_l=39.0, fresh_purity_percent=percent)


def close(added_l: float) -> MonthClose:
    return MonthClose(at=NOW, tank="t1", added_l=added_l, is_at_line=True)


@pytest.mark.parametrize(
    "entry, name",
    [
        (swap(50.0), "purity_unlike"),
        (close(500.0), "close_unlike_log"),
        (SoakEnded(at=NOW, soak="o1", mass_after_g=2.1), "soak_too_short"),
    ],
)
def test_what_is_unlikely_is_asked_and_stored_once_it_is_meant(
    store: Store, entry: Entry, name: str
) -> None:
    with pytest.raises(Doubtful) as asked:
        enter(store, ROOM, [entry], NOW)
    assert [doubt.name for doubt in asked.value.doubts] == [name]  # type: ignore[union-attr]
    with pytest.raises(Doubtful):
        enter(store, ROOM, [entry], NOW, confirmed=["tank_held"])
    assert enter(store, ROOM, [entry], NOW, confirmed=[name]).ids


@pytest.mark.parametrize(
    "entry",
    [
        swap(99.0),
        swap(95.0),
        close(0.9),
        close(2.5),
        SoakEnded(at=NOW, soak="o2", mass_after_g=2.1),
    ],
)
def test_what_is_as_usual_is_not_asked(store: Store, entry: Entry) -> None:
    assert enter(store, ROOM, [entry], NOW).ids
