"""A room with drums, short to write, for tests of waste."""

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import Drum, Pour
from app.domain.waste.drums import DrumState
from app.services.door import bring_in as record
from app.services.door import enter
from app.services.rooms import find_room
from app.services.waste import Overview, drums, find_drum, overview
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, tank
from tests.furnished import new_store


def waste_room(folder: Path) -> Store:
    """A room with two tanks of two solvents and two empty drums."""
    store = new_store(folder)
    furnish(store, tanks=1)
    high_flash = tank("tpm", solvent="tripropylene_glycol_methyl_ether")
    record(store, ROOM, [high_flash, drum(), drum("d2", area="central")], NOW)
    return store


def ago(days: float) -> Any:
    """An instant so many days before now."""
    return NOW - timedelta(days=days)


def drum(key: str = "d1", days: float = 10, **more: Any) -> Drum:
    """A drum of 100 L that may hold 90."""
    values: dict[str, Any] = {
        "drum": key, "name": f"Drum {key[1:]}", "capacity_l": 100.0, "area": "wash_station",
        "stream": "isopropanol_resin", "id": f"new-{key}",
    }  # fmt: skip
    return Drum(at=ago(days), **(values | more))


def pour(days: float = 0.5, volume_l: float = 40.0, key: str = "d1", **more: Any) -> Pour:
    """A pour so many days ago, of isopropanol where nothing else says what it is."""
    if not more.keys() & {"tank", "stream", "incident"} and key in ("d1", "d2"):
        more["stream"] = "isopropanol_resin"
    return Pour(at=ago(days), drum=key, volume_l=volume_l, **more)


def state(store: Store, key: str = "d1") -> DrumState:
    with Session(store.reader) as session:
        return find_drum(session, find_room(session, ROOM).id or 0, key)


def seen(store: Store) -> Overview:
    with Session(store.reader) as session:
        return overview(session, find_room(session, ROOM), NOW)


def refused(store: Store, *entries: Entry) -> dict[str, str]:
    """The messages with which entries are refused; nothing of them is stored."""
    with Session(store.reader) as session:
        before = find_room(session, ROOM).version
    with pytest.raises(FieldErrors) as caught:
        enter(store, ROOM, entries, NOW)
    with Session(store.reader) as session:
        assert find_room(session, ROOM).version == before
    return caught.value.by_field()


def states(store: Store) -> dict[str, DrumState]:
    with Session(store.reader) as session:
        return dict(sorted(drums(session, find_room(session, ROOM).id or 0).items()))
