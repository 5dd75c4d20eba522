"""Rooms for the tests of swaps ahead: two baths that fill up, a shelf, a drum."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from sqlmodel import Session

from app.domain.checklists.default_template import DEFAULT
from app.domain.checklists.template import as_data
from app.domain.roomlog.kinds import Entry, SwapStarted
from app.domain.roomlog.kinds.checklists import SwapOpened
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.domain.roomlog.kinds.waste import Drum
from app.services.door import bring_in as record
from app.services.planning.proposal import Ahead, ahead
from app.services.rooms import find_room
from app.store.engine import Store, open_store
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash
from tests.furnished import NAME, new_store

MON = date(2026, 3, 2)
WEEK_AGO = NOW - timedelta(days=7)


def make(folder: Path) -> None:
    """Two baths: the first fills up in days, the second in weeks."""
    store = new_store(folder)
    furnish(store, tanks=2, time_zone="Europe/Berlin")
    entries: list[Entry] = []
    for day in range(14, 0, -1):
        entries.append(wash(day, "t1", area_cm2=7000.0))
        entries.append(wash(day - 0.3, "t2", area_cm2=4500.0))
    entries.append(sensor_reading(13.9, 0.4))  # as the estimate has it: it only makes days known
    record(store, ROOM, entries, NOW)
    store.close()


@contextmanager
def copied(made: Path, folder: Path) -> Iterator[Store]:
    """A store of its own on a copy of a room that was made before."""
    shutil.copytree(made, folder, dirs_exist_ok=True)
    store = open_store(f"sqlite:///{folder / NAME}")
    store.mark_in_use()
    yield store
    store.close()


def shelf(litres: float, **item: Any) -> list[Entry]:
    values: dict[str, Any] = {
        "item": "ipa", "name": "Isopropanol", "category": "solvent", "unit": "L",
        "solvent": "isopropanol", "purity_percent": 99.0, "container_sizes": [18.9, 3.8],
    }  # fmt: skip
    found: list[Entry] = [Item(at=WEEK_AGO, **(values | item))]
    if litres:
        found.append(StockReceived(at=WEEK_AGO, item="ipa", quantity=litres, lot="L-1"))
    return found


def drum(key: str = "d1", held_l: float = 0.0, **more: Any) -> Drum:
    values: dict[str, Any] = {
        "name": key.upper(), "capacity_l": 205.0, "stream": "isopropanol_resin",
        "area": "central", "volume_l": held_l or None,
    }  # fmt: skip
    return Drum(at=WEEK_AGO, drum=key, **(values | more))


def opened_swap(tank: str = "t1", key: str = "s1") -> list[Entry]:
    """A swap by the default list that has just begun."""
    opened = SwapOpened(
        at=NOW, swap=key, tank=tank, checklist="swap", version=1, steps=as_data(DEFAULT.steps),
        estimated_l=40.0, capacity_l=40.0, solvent="isopropanol",
    )  # fmt: skip
    return [SwapStarted(at=NOW, tank=tank, swap=key), opened]


def seen(store: Store, now: datetime = NOW, weeks: int = 8) -> Ahead:
    with Session(store.reader) as session:
        return ahead(session, find_room(session, ROOM), now, weeks)


def line(store: Store, tank: str, subject: Any) -> Any:
    swap = seen(store).swap(tank)
    assert swap is not None
    found = swap.line(subject)
    assert found is not None
    return found
