"""Entries of drums, short to write, for tests of waste."""

from datetime import UTC, datetime, timedelta
from typing import Any

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.waste import Drum, DrumMoved, PickupShipped, Pour
from app.domain.things import fold
from app.domain.waste.drums import DRUM_BOOK, DrumState

START = datetime(2026, 3, 2, 9, 0, tzinfo=UTC)
DRUM_L = 208.198  # 55 US gal


def at(days: float) -> datetime:
    """So many days after the start."""
    return START + timedelta(days=days)


def drum(days: float = 0.0, key: str = "d1", **more: Any) -> Drum:
    """A drum of 55 US gal at the wash station."""
    values: dict[str, Any] = {
        "drum": key, "name": f"Drum {key[1:]}", "capacity_l": DRUM_L,
        "stream": "isopropanol_resin", "area": "wash_station",
    }  # fmt: skip
    return Drum(at=at(days), **(values | more))


def pour(days: float, volume_l: float = 20.0, key: str = "d1", **more: Any) -> Pour:
    """A pour into a drum."""
    return Pour(at=at(days), drum=key, volume_l=volume_l, **more)


def moved(days: float, area: str = "central", key: str = "d1") -> DrumMoved:
    """A drum brought to the central area."""
    return DrumMoved(at=at(days), drum=key, area=area)


def shipped(days: float, key: str = "d1") -> PickupShipped:
    """A drum fetched."""
    return PickupShipped(at=at(days), pickup="p1", drums=[key], document="M-1")


def after(*entries: Entry, key: str = "d1") -> DrumState:
    """The drum after these entries."""
    state = fold(DRUM_BOOK, key, [entry for entry in entries if ("drum", key) in entry.things()])
    assert isinstance(state, DrumState)
    return state
