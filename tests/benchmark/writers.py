"""Writers: what a wash costs against a page, and fifty who log without a pause, alone and beside
five hundred live pages."""

import http.client
import os
import sqlite3
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median, quantiles
from urllib.parse import urlsplit

from app.clock import utc_now
from app.services.changes import Progress
from tests.benchmark.load import get_ms, post_wash_ms
from tests.benchmark.rooms import ROOM, open_room
from tests.many_pages import live_pages
from tests.running import RunningServer, start_server

TANKS, EVENTS = 20, 20_000
ROUNDS, CLIENTS, PAGES = 40, 50, 500
SECONDS, ALONE_S, BARE_S = 60.0, 15.0, 5.0


@dataclass
class Load:
    """What came of writers at work: milliseconds of each wash, errors, and how long it took."""

    writes_ms: list[float] = field(default_factory=list)
    errors: list[str] = field(default_factory=list)
    took_s: float = 0.0

    @property
    def rate(self) -> float:
        """Washes a second."""
        return len(self.writes_ms) / self.took_s

    @property
    def p99_ms(self) -> float:
        """One wash in a hundred takes longer."""
        return quantiles(self.writes_ms, n=100)[98]


def measure_writers(folder: Path, progress: Progress, events: int = EVENTS) -> None:
    """Print all of it, each figure as a ratio within this run."""
    place = folder / f"writers-{TANKS}-{events}"
    place.mkdir(parents=True, exist_ok=True)
    open_room(place, TANKS, events, utc_now(), progress).close()
    server = start_server("serve", data_dir=place, within_s=300)
    try:
        _one_by_one(server, events)
        alone = _write(server, 1, ALONE_S)
        bare = _bare_rate(folder)
        many = _write(server, CLIENTS, SECONDS)
        _say_load("", many, alone, bare)
        before_mb = _memory_mb(server)
        with live_pages(server.url, ROOM, PAGES) as pages:
            open_mb = _memory_mb(server)
            crowded = _write(server, CLIENTS, SECONDS)
            during_mb = _memory_mb(server)
            again = _write(server, CLIENTS, SECONDS)
            time.sleep(2)
            after_mb = _memory_mb(server)
        _say_load(f" beside {PAGES} live pages", crowded, alone, bare)
        errors = len(again.errors)
        print(f"  {SECONDS:.0f} s more: {again.rate:.1f} a second, errors {errors}")
        print(f"  live pages that ended {pages.ended}, notices {pages.notices:,}")
        print(
            f"  memory: {before_mb:.0f} MB, with the pages open {open_mb:.0f}, after "
            f"{SECONDS:.0f} s {during_mb:.0f}, after {2 * SECONDS:.0f} s {after_mb:.0f} MB"
        )
    finally:
        server.stop()


def _one_by_one(server: RunningServer, events: int) -> None:
    """Rounds in turn, so that a slow moment of the machine falls on all alike."""
    connection = http.client.HTTPConnection(urlsplit(server.url).netloc, timeout=60)
    times: dict[str, list[float]] = {}
    room, tank = f"/rooms/{ROOM}", f"/rooms/{ROOM}/tanks/t01"
    for turn in range(ROUNDS + 5):
        asked: Sequence[tuple[str, Callable[[], float]]] = (
            ("wash", lambda turn=turn: post_wash_ms(connection, ROOM, f"t{1 + turn % TANKS:02d}")),  # type: ignore[misc]
            ("first", lambda: get_ms(connection, room)),
            ("room", lambda: get_ms(connection, room)),
            ("tank, first", lambda: get_ms(connection, tank)),
            ("tank", lambda: get_ms(connection, tank)),
        )
        for name, ask in asked:
            took_ms = ask()
            if turn >= 5:
                times.setdefault(name, []).append(took_ms)
    connection.close()
    of = {name: median(all_ms) for name, all_ms in times.items()}
    print(f"{TANKS} tanks, {events:,} past events; room page {of['room']:.1f} ms, ratios to it:")
    print(f"  a wash {of['wash'] / of['room']:.2f}, a tank page {of['tank'] / of['room']:.2f}")
    print(
        f"  the first read after an entry against the next: room page "
        f"{of['first'] / of['room']:.2f}, tank page {of['tank, first'] / of['tank']:.2f}"
    )


def _write(server: RunningServer, clients: int, seconds: float) -> Load:
    """Washes by clients that log the next one as soon as the last one is answered."""
    load, until_s = Load(), time.monotonic() + seconds

    def client(number: int) -> None:
        connection = http.client.HTTPConnection(urlsplit(server.url).netloc, timeout=60)
        count = number
        while time.monotonic() < until_s:
            count += 1
            try:
                took_ms = post_wash_ms(connection, ROOM, f"t{1 + count % TANKS:02d}")
                load.writes_ms.append(took_ms)
            except (OSError, RuntimeError, http.client.HTTPException) as error:
                load.errors.append(repr(error)[:200])
                connection.close()
        connection.close()

    threads = [threading.Thread(target=client, args=(number,)) for number in range(clients)]
    begun_s = time.monotonic()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    load.took_s = time.monotonic() - begun_s
    return load


def _say_load(where: str, many: Load, alone: Load, bare: float) -> None:
    print(
        f"{CLIENTS} clients for {SECONDS:.0f} s{where}: {many.rate:.1f} washes a second, errors "
        f"{len(many.errors)}, p99 {many.p99_ms:.0f} ms"
    )
    print(
        f"  p99 against one client's ({alone.p99_ms:.0f} ms): {many.p99_ms / alone.p99_ms:.1f}; "
        f"rate against one client's ({alone.rate:.1f}): {many.rate / alone.rate:.2f}"
    )
    print(
        f"  bare rows committed one by one with full synchronisation: {bare:.0f} a second, "
        f"{bare / many.rate:.1f} times as many"
    )
    for error in many.errors[:3]:
        print(f"  {error}")


def _bare_rate(folder: Path) -> float:
    """Rows a second that SQLite alone commits one by one, each on the disk (synchronous=FULL)."""
    file = folder / "bare.sqlite3"
    file.unlink(missing_ok=True)
    with closing(sqlite3.connect(file, isolation_level=None)) as database:
        database.execute("PRAGMA journal_mode=WAL")
        database.execute("PRAGMA synchronous=FULL")
        database.execute("CREATE TABLE row (at REAL, said TEXT)")
        count, until_s = 0, time.monotonic() + BARE_S
        while time.monotonic() < until_s:
            database.execute("INSERT INTO row VALUES (?, ?)", (time.monotonic(), "x" * 200))
            count += 1
    return count / BARE_S


def _memory_mb(server: RunningServer) -> float:
    pages = int(Path(f"/proc/{server.process.pid}/statm").read_text("ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6
