"""Rooms of several sizes with baths in every state, made through the services."""

from datetime import datetime, timedelta
from pathlib import Path

from app.clock import utc_now
from app.domain.roomlog.kinds import Entry, Reading, Resin, SwapStarted, Wash
from app.domain.roomlog.kinds.incidents import Incident
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import tank
from tests.furnished import new_store

SIZES = (1, 6, 24, 60)
TROUBLED = "room-troubled"
"""A room of five tanks with four open problems."""
NAMES = ("Alder", "Supports and draft models", "Dental, clear", "Birch 2", "Hollyoak", "Fine")
AREAS_CM2 = (600.0, 5200.0, 2500.0, 900.0)
FIRST_PERCENT = (0.0, 10.6, 7.0, 13.0, 4.0, 9.4, 0.5)


def furnish_rooms(folder: Path) -> None:
    """A database with a room of each size, and one with open problems."""
    store = new_store(folder)
    for count in SIZES:
        _furnish(store, count, utc_now())
    _furnish(store, 5, utc_now(), TROUBLED)
    now = utc_now()
    record(store, TROUBLED, [
        Incident(at=now, incident=f"i{number}", problem=problem, by="Wren", people="Wren",
                 tank="t2" if problem != "near_miss" else None)
        for number, problem in enumerate(("near_miss", "wrong_solvent", "fire", "leak"))
    ], now)  # fmt: skip
    store.close()


def _furnish(store: Store, count: int, now: datetime, key: str = "") -> None:
    key = key or f"room-{count}"
    add_room(store, RoomForm(name=f"Room of {count}", key=key), now)
    start = now - timedelta(days=20)
    entries: list[Entry] = [
        Resin(at=start, id="r1", resin="slate", name="Slate", density_g_ml=1.12)
    ]
    for number in range(1, count + 1):
        name = NAMES[number % len(NAMES)]
        first_percent = FIRST_PERCENT[number % len(FIRST_PERCENT)]
        entries.append(tank(f"t{number}", at=start, name=name, saturation_percent=first_percent))
        entries += _history(number, now)
    record(store, key, entries, now)


def _history(number: int, now: datetime) -> list[Entry]:
    """Washes that fill the bath by its number, a reading here, a swap under way there."""
    area_cm2, key = AREAS_CM2[number % len(AREAS_CM2)], f"t{number}"
    found: list[Entry] = [
        Wash(at=now - timedelta(days=19 - 1.5 * index), tank=key, resin="slate", area_cm2=area_cm2)
        for index in range(12)
    ]
    if number % 3 == 0:
        at = now - timedelta(days=1)
        found.append(Reading(at=at, tank=key, method="sensor", values={"saturation_percent": 4.0}))
    if number % 11 == 5:
        found.append(SwapStarted(at=now - timedelta(hours=2), tank=key))
    return found
