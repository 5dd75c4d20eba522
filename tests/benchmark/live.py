"""Live pages and writes at once: what the pages cost the writers, and the log file."""

import http.client
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median, quantiles

from app.clock import utc_now
from app.services.changes import Progress
from tests.benchmark.load import get_ms, post_wash_ms, served
from tests.benchmark.rooms import ROOM, open_room
from tests.many_pages import live_pages

PAGES, WRITES, MINUTES = 500, 10_000, 5.0
TANKS, EVENTS = 20, 1_000
WRITERS, READERS = 4, 4
QUIET_WRITES = 400
LOG = "bathkeeper.sqlite3-wal"


@dataclass
class _Tally:
    """What was asked, by many threads."""

    writes_ms: list[float] = field(default_factory=list)
    reads: int = 0
    errors: list[str] = field(default_factory=list)
    largest_log_bytes: int = 0


def measure_live(folder: Path, progress: Progress, writes: int, minutes: float) -> None:
    """Print errors, the largest log file, and a wash's time with live pages against without."""
    place = folder / f"live-{TANKS}-{EVENTS}"
    place.mkdir(parents=True, exist_ok=True)
    open_room(place, TANKS, EVENTS, utc_now(), progress).close()
    with served(place) as connection:
        host, port = connection.host, connection.port
        pace_s = 60 * minutes * WRITERS / writes
        quiet = _Tally()
        _together(host, port, quiet, place, QUIET_WRITES, pace_s)
        with live_pages(f"http://{host}:{port}", ROOM, PAGES) as pages:
            crowded = _Tally()
            begun_s = time.monotonic()
            _together(host, port, crowded, place, writes, pace_s)
            took_s = time.monotonic() - begun_s
            time.sleep(2)
    median_ms, quiet_ms = median(crowded.writes_ms), median(quiet.writes_ms)
    slow_ms, slow_quiet_ms = (quantiles(one.writes_ms, n=100)[98] for one in (crowded, quiet))
    print(f"{PAGES} live pages, {len(crowded.writes_ms):,} washes in {took_s / 60:.1f} minutes,")
    print(f"  {crowded.reads:,} room pages read by {READERS} others, {pages.notices:,} notices")
    print(f"  errors {len(crowded.errors)}, live pages that ended {pages.ended}")
    print(f"  log file at most {crowded.largest_log_bytes / 1e6:.1f} MB")
    ratio = median_ms / quiet_ms
    print(f"  a wash: median {median_ms:.1f} ms; against no live page: ratio {ratio:.2f}")
    print(
        f"  one wash in a hundred takes more than {slow_ms:.0f} ms, without {slow_quiet_ms:.0f} ms"
    )
    for error in crowded.errors[:10]:
        print(f"  {error}")


def _together(host: str, port: int, tally: _Tally, place: Path, writes: int, pace_s: float) -> None:
    is_over = threading.Event()

    def write(number: int) -> None:
        connection = http.client.HTTPConnection(host, port, timeout=60)
        next_s = time.monotonic()
        for count in range(writes // WRITERS):
            tank = f"t{1 + (number + count * WRITERS) % TANKS:02d}"
            _note(tally, lambda: tally.writes_ms.append(post_wash_ms(connection, ROOM, tank)))  # noqa: B023
            log = place / LOG
            size = log.stat().st_size if log.exists() else 0
            tally.largest_log_bytes = max(tally.largest_log_bytes, size)
            next_s = max(next_s + pace_s, time.monotonic() - pace_s)
            time.sleep(max(0.0, next_s - time.monotonic()))
        connection.close()

    def read() -> None:
        connection = http.client.HTTPConnection(host, port, timeout=60)
        while not is_over.wait(1):
            _note(tally, lambda: get_ms(connection, f"/rooms/{ROOM}"))
            tally.reads += 1
        connection.close()

    writers = [threading.Thread(target=write, args=[number]) for number in range(WRITERS)]
    readers = [threading.Thread(target=read) for _ in range(READERS)]
    for thread in (*writers, *readers):
        thread.start()
    for thread in writers:
        thread.join()
    is_over.set()
    for thread in readers:
        thread.join()


def _note(tally: _Tally, work: Callable[[], object]) -> None:
    try:
        work()
    except (OSError, RuntimeError, http.client.HTTPException) as error:
        tally.errors.append(repr(error)[:200])
