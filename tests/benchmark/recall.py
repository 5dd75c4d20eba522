"""A recall on a room with a long past, against its room page and against a short past."""

import random
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path
from statistics import median

from app.clock import utc_now
from app.domain.roomlog.kinds import Entry, Swap, TopUp, Wash
from app.domain.roomlog.kinds.curing import Cure, CureRecipe, Irradiance, Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.incidents import TankHeld, TankReleased
from app.domain.roomlog.kinds.part_lots import PartLot
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.services.acts.rooms import RoomForm, add_room
from app.services.changes import Progress
from app.services.door import bring_in
from app.services.rebuilding import rebuild_outdated
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from tests.benchmark.load import get_ms, served
from tests.benchmark.rooms import CHUNK, RESINS, ROOM, room_history

TANKS, FEW_EVENTS = 60, 1_000
WASHES_OF_LOT, STATIONS, LOTS_OF_RESIN_LOT = 4, 6, 40
ROUNDS, CALLS = 5, 5
MONTH, ALL = "&since={since}&until={until}", "&since=2000-01-01&until={until}"
RECALLS = {
    "above the limit, a month": f"reason=bath+over+limit{MONTH}",
    "above the limit, whole log": f"reason=bath+over+limit{ALL}",
    "held tank, whole log": f"reason=tank+on+hold{ALL}",
    "reading set aside, whole log": f"reason=light+reading+set+aside{ALL}",
    "check overdue, whole log": f"reason=check+overdue{ALL}",
    "a lot of resin, whole log": f"reason=resin+lot&resin_lot=RL-00003{ALL}",
    "a lot of solvent, whole log": f"reason=solvent+lot&solvent_lot=S-2{ALL}",
    "all of them, a month": (
        "reason=bath+over+limit&reason=tank+on+hold&reason=light+reading+set+aside"
        f"&reason=check+overdue{MONTH}"
    ),
}  # fmt: skip


def measure_recall(folder: Path, events: int, progress: Progress) -> None:
    """Print the times of recalls as ratios to the room page, and to those of a short past."""
    now = utc_now()
    few, many = folder / f"recall-{FEW_EVENTS}", folder / f"recall-{events}"
    for place, count in ((few, FEW_EVENTS), (many, events)):
        place.mkdir(parents=True, exist_ok=True)
        open_recall_room(place, TANKS, count, now, progress).close()
    days = {"since": (now - timedelta(days=30)).date(), "until": now.date()}
    asked = {name: f"?{query.format(**days)}" for name, query in RECALLS.items()}
    room = f"/rooms/{ROOM}"
    times: dict[tuple[str, str], list[float]] = {}
    with served(few) as short, served(many) as long:
        paths = {
            "room page": room, "record of a lot": f"{room}/lots/record?lot=L-0000100",
            **{name: f"{room}/lots/recall{query}" for name, query in asked.items()},
        }  # fmt: skip
        for path in paths.values():
            for connection in (short, long):
                get_ms(connection, path)
        for _ in range(ROUNDS):
            for name, path in paths.items():
                for size, connection in (("few", short), ("many", long)):
                    found = median(get_ms(connection, path) for _ in range(CALLS))
                    times.setdefault((name, size), []).append(found)
    base = median(times["room page", "many"])
    print(f"recall, {TANKS} tanks, median of {ROUNDS} rounds in turn:")
    for name in paths:
        long_ms, short_ms = median(times[name, "many"]), median(times[name, "few"])
        print(f"  {name}: {events:,} events {long_ms:.1f} ms, {long_ms / base:.2f} of the room",
              f"page's; against {FEW_EVENTS:,} events {long_ms / short_ms:.2f}")  # fmt: skip


def open_recall_room(
    folder: Path, tanks: int, events: int, now: datetime, progress: Progress
) -> Store:
    """The store of a room whose washes and cures name part lots, made where it is not there yet."""
    store = open_store(f"sqlite:///{folder / 'bathkeeper.sqlite3'}")
    upgrade(store)
    done = folder / f"made-recall-{tanks}-{events}"
    if not done.exists():
        add_room(store, RoomForm(name="Benchmark", key=ROOM), now)
        history = islice(recall_history(tanks, events, now), events)
        for count, chunk in enumerate(iter(lambda: list(islice(history, CHUNK)), []), 1):
            bring_in(store, ROOM, chunk, now)
            progress("Making the room", min(count * CHUNK, events), events)
        done.touch()
    rebuild_outdated(store, now, progress)
    return store


def recall_history(tanks: int, events: int, now: datetime) -> Iterator[Entry]:
    """The history of a room as in `room_history`, with lots, cures, holds, readings and checks."""
    rng, washes, lots, weeks = random.Random(2), 0, 0, -1
    began: datetime | None = None
    held: tuple[str, datetime] | None = None
    for entry in room_history(tanks, events, now):
        if began is None:
            began = entry.at
            yield from _set_up(began)
        week = (entry.at - began) // timedelta(days=7)
        if week > weeks:
            weeks = week
            yield from _weekly(entry.at, week, rng)
        if held and entry.at > held[1]:
            yield TankReleased(at=entry.at, tank=held[0], lead="Ada", reason="settled")
            held = None
        if not isinstance(entry, Wash):
            yield entry
            if isinstance(entry, Swap) and held is None and rng.random() < 0.02:
                held = entry.tank, entry.at + timedelta(hours=3)
                yield TankHeld(at=entry.at, tank=entry.tank, reason="leak", cause="lead")
            if isinstance(entry, TopUp) and rng.random() < 0.1:
                yield StockUsed(at=entry.at, item="ipa", quantity=1.0, tank=entry.tank,
                                purpose="top_up", lot=f"S-{week // 13}")  # fmt: skip
            continue
        lot, resin = f"L-{lots:07d}", RESINS[lots % len(RESINS)]
        if washes % WASHES_OF_LOT == 0:
            yield PartLot(at=entry.at, lot=lot, resin=resin,
                          resin_lot=f"RL-{lots // LOTS_OF_RESIN_LOT:05d}")  # fmt: skip
        yield Wash(at=entry.at, tank=entry.tank, resin=resin, area_cm2=entry.area_cm2, lot=lot)
        washes += 1
        if washes % WASHES_OF_LOT == 0:
            at = entry.at + timedelta(seconds=1)
            yield Cure(at=at, station=f"s{lots % STATIONS}", resin=resin, minutes=6.0, lot=lot,
                       tank=entry.tank, washed_at=entry.at)  # fmt: skip
            lots += 1


def _set_up(at: datetime) -> Iterator[Entry]:
    yield Item(at=at, item="ipa", name="Isopropanol", category="solvent", unit="L",
               solvent="isopropanol")  # fmt: skip
    for resin in RESINS:
        yield CureRecipe(at=at, resin=resin, dose_mj_cm2=3000.0)
    for number in range(STATIONS):
        yield Station(at=at, station=f"s{number}", name=f"Lamp {number}", source="led",
                      wavelength_nm=405.0, new_mw_cm2=20.0, layout="centre")  # fmt: skip


def _weekly(at: datetime, week: int, rng: random.Random) -> Iterator[Entry]:
    yield StockReceived(at=at, item="ipa", quantity=200.0, lot=f"S-{week // 13}")
    if week % 9:
        yield DutyDone(at=at, duty="instrument", outcome="done")
    for number in range(STATIONS):
        factor = 0.3 if rng.random() < 0.02 else 1.0
        yield Irradiance(at=at, station=f"s{number}", centre_mw_cm2=factor * rng.gauss(19.0, 0.4),
                         radiometer="R-1")  # fmt: skip
