"""Rooms of any size for the benchmark: an invented, seeded, plausible history of any length."""

import random
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path

from app.domain.roomlog.kinds import Entry, Reading, Resin, Swap, Tank, TopUp, Wash
from app.services.acts.rooms import RoomForm, add_room
from app.services.changes import Progress
from app.services.door import bring_in as record
from app.services.rebuilding import rebuild_outdated
from app.store.engine import Store, open_store
from app.store.migrations import upgrade

ROOM = "benchmark"
RESINS = ("slate", "opal", "ember")
CARRY_IN_G_CM2 = 0.018
LIMIT_PERCENT = 10.0
CHUNK = 20_000


def open_room(folder: Path, tanks: int, events: int, now: datetime, progress: Progress) -> Store:
    """The store of a room with so many tanks and past events, made where it is not there yet."""
    store = open_store(f"sqlite:///{folder / 'bathkeeper.sqlite3'}")
    upgrade(store)
    done = folder / f"made-{tanks}-{events}"
    if not done.exists():
        add_room(store, RoomForm(name="Benchmark", key=ROOM), now)
        history = room_history(tanks, events, now)
        for count, chunk in enumerate(iter(lambda: list(islice(history, CHUNK)), []), 1):
            record(store, ROOM, chunk, now)
            progress("Making the room", min(count * CHUNK, events), events)
        done.touch()
    rebuild_outdated(store, now, progress)
    return store


def room_history(tanks: int, events: int, now: datetime, seed: int = 1) -> Iterator[Entry]:
    """About `events` entries in order, of `tanks` tanks, the last one shortly before `now`."""
    rng = random.Random(seed)
    days = max(3.0, events / tanks / 15)
    at = now - timedelta(days=days)
    keys = [f"t{number:02d}" for number in range(1, tanks + 1)]
    for key in RESINS:
        yield Resin(at=at, resin=key, name=key.title(), density_g_ml=1.12)
    for key in keys:
        yield Tank(
            at=at, tank=key, name=f"Tank {key[1:]}", capacity_l=40, min_l=30,
            solvent="isopropanol", fresh_purity_percent=99, limit_percent=LIMIT_PERCENT,
        )  # fmt: skip
    resin_g = dict.fromkeys(keys, 0.0)
    step = timedelta(days=days) / max(1, events - tanks - len(RESINS))
    for _ in range(events - tanks - len(RESINS)):
        at += step
        yield _entry(rng, at, rng.choice(keys), resin_g)


def _entry(rng: random.Random, at: datetime, key: str, resin_g: dict[str, float]) -> Entry:
    """The next thing to happen at a tank; most often a wash."""
    percent = 100 * resin_g[key] / (31_000 + resin_g[key])
    chance = rng.random()
    if percent > rng.uniform(0.9, 1.1) * LIMIT_PERCENT:
        resin_g[key] = 0.0
        return Swap(at=at, tank=key)
    if chance < 0.03:
        shown = max(0.0, percent + rng.gauss(0, 0.3))
        return Reading(at=at, tank=key, method="sensor", values={"saturation_percent": shown})
    if chance < 0.05:
        resin_g[key] *= 0.98
        return TopUp(at=at, tank=key, volume_l=1.0, to_mark=True)
    area_cm2 = rng.lognormvariate(7.2, 0.4)
    resin_g[key] += area_cm2 * CARRY_IN_G_CM2
    return Wash(at=at, tank=key, resin=rng.choice(RESINS), area_cm2=round(area_cm2, 1))
