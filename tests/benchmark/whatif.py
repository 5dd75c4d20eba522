"""How long a what-if case takes on a year of a large room, and how far its past is repeated."""

from collections.abc import Mapping
from pathlib import Path
from statistics import median
from time import perf_counter
from typing import Any

from sqlmodel import Session

from app.clock import utc_now
from app.domain.spend.whatif.outcomes import outcome
from app.services.changes import Progress
from app.services.rooms import find_room
from app.services.spend.weekly_costs import spend_of
from app.services.spend.whatif import room_now
from tests.benchmark.rooms import ROOM, open_room

TANKS, ROUNDS = 60, 5
CASES: Mapping[str, Mapping[str, Any]] = {
    "as now": {},
    "limit 12 %": {"limit_percent": 12},
    "pairs": {"baths": "paired"},
    "half the size": {"size_percent": 50},
    "topped up by a quarter": {"renew_percent": 25},
}


def measure_whatif(folder: Path, events: int, progress: Progress) -> None:
    """Print a line for the room made ready, one for each case, and one for the past repeated."""
    now = utc_now()
    place = folder / f"room-{events}"
    place.mkdir(parents=True, exist_ok=True)
    store = open_room(place, TANKS, events, now, progress)
    with Session(store.reader) as session:
        row = find_room(session, ROOM)
        spend_of(session, row)
        start = perf_counter()
        prepared = room_now(session, row, now)
        ready_s = perf_counter() - start
    store.close()
    assert prepared.room is not None
    print(f"what if, {TANKS} tanks, {events:,} past events: a year's load read in {ready_s:.2f} s")
    for name, changes in CASES.items():
        times_s = []
        for _ in range(ROUNDS):
            start = perf_counter()
            found = outcome(prepared.room, changes)
            times_s.append(perf_counter() - start)
        swaps = found.of("swaps").middle
        print(f"  {name}: median of {ROUNDS} {median(times_s):.2f} s, {swaps:.0f} swaps a year")
    for one in prepared.repeat:
        told = one.whole.widened(one.doubt)
        print(
            f"  past {one.name}: booked {one.whole.booked:.0f}, model {told.low:.0f} to"
            f" {told.high:.0f} (held {one.held} of {len(one.lines)} before it was widened)"
        )
