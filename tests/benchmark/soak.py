"""What a server costs its users while a backup is taken, and what it keeps as load goes on."""

import http.client
import random
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median, quantiles
from urllib.parse import urlsplit

from app.clock import utc_now
from app.services.changes import Progress
from app.store.backups import back_up
from tests.benchmark.load import get_ms, post_wash_ms
from tests.benchmark.rooms import ROOM, open_room
from tests.many_pages import live_pages
from tests.running import RunningServer, start_server

BACKUP_EVENTS = 1_000_000
TANKS, EVENTS = 20, 1_000
ROUNDS, WRITES, WRITERS = 3, 120, 4
CLIENTS, PAGES, LOOKS = 4, 20, 8
READS = ("", "/plan", "/spend", "/waste", "/shelf", "/duties", "/log", "/tanks/t01")


def measure_backup(folder: Path, progress: Progress, events: int) -> None:
    """Print the time of a wash with backups and without, in turns, and of a backup."""
    place = folder / f"backup-{events}"
    place.mkdir(parents=True, exist_ok=True)
    open_room(place, TANKS, events, utc_now(), progress).close()
    database_mb = (place / "bathkeeper.sqlite3").stat().st_size / 1e6
    server = start_server("serve", data_dir=place, within_s=600)
    quiet, busy, took_s = list[float](), list[float](), list[float]()
    try:
        _washes(server, 20)
        for _ in range(ROUNDS):
            quiet += _washes(server, WRITES)
            is_over = threading.Event()
            copying = threading.Thread(
                target=_backups, args=(place, folder / "to", took_s, is_over)
            )
            copying.start()
            busy += _washes(server, WRITES)
            is_over.set()
            copying.join()
    finally:
        server.stop()
    print(f"backup of {database_mb:.0f} MB, {len(took_s)} taken: median {median(took_s):.1f} s")
    for name, times in (("without", quiet), ("meanwhile", busy)):
        print(f"  a wash {name}: median {median(times):.1f} ms, p99 {_slow(times):.0f} ms")
    print(
        f"  added p99: {_slow(busy) - _slow(quiet):.0f} ms, ratio {_slow(busy) / _slow(quiet):.2f}"
    )


def _slow(times: list[float]) -> float:
    return quantiles(times, n=100)[98]


def _backups(place: Path, into: Path, took_s: list[float], is_over: threading.Event) -> None:
    while not is_over.is_set():
        begun_s = time.perf_counter()
        back_up(place, into, utc_now())
        took_s.append(time.perf_counter() - begun_s)
        is_over.wait(1.1)  # they are named by the second


def _washes(server: RunningServer, writes: int) -> list[float]:
    """How long washes take, of some writers at once."""
    times: list[float] = []

    def write(number: int) -> None:
        connection = http.client.HTTPConnection(urlsplit(server.url).netloc, timeout=120)
        for count in range(writes // WRITERS):
            tank = f"t{1 + (number + count * WRITERS) % TANKS:02d}"
            times.append(post_wash_ms(connection, ROOM, tank))
        connection.close()

    threads = [threading.Thread(target=write, args=[number]) for number in range(WRITERS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return times


@dataclass
class _Done:
    """What the clients of a soak did."""

    washes: int = 0
    reads: int = 0
    errors: list[str] = field(default_factory=list)


def measure_soak(folder: Path, progress: Progress, minutes: float) -> None:
    """Print what a server holds along a load that has no pause: pages come and go meanwhile."""
    place = folder / "soak"
    place.mkdir(parents=True, exist_ok=True)
    open_room(place, TANKS, EVENTS, utc_now(), progress).close()
    log = folder / "soak-log" / "lines"
    log.parent.mkdir(exist_ok=True)
    variables = {"BATHKEEPER_LOG": "json", "BATHKEEPER_LOG_FILE": str(log)}
    server = start_server("serve", data_dir=place, variables=variables)
    done, is_over = _Done(), threading.Event()
    clients = [
        threading.Thread(target=_live, args=(server, done, is_over, n)) for n in range(CLIENTS)
    ]
    try:
        for client in clients:
            client.start()
        for look in range(LOOKS + 1):
            if look:
                with live_pages(server.url, ROOM, PAGES):
                    time.sleep(60 * minutes / LOOKS)
            print(f"  {look * minutes / LOOKS:5.1f} min: {_held(server, place, log)}, "
                  f"{done.washes:,} washes, {done.reads:,} pages")  # fmt: skip
    finally:
        is_over.set()
        for client in clients:
            client.join()
        server.stop()
    print(f"soak of {minutes:.0f} minutes: errors {len(done.errors)}")
    for error in done.errors[:5]:
        print(f"  {error}")


def _held(server: RunningServer, place: Path, log: Path) -> str:
    process = Path(f"/proc/{server.process.pid}")
    status = (process / "status").read_text()
    [kb] = [line.split()[1] for line in status.splitlines() if line.startswith("VmRSS")]
    descriptors = len(list((process / "fd").iterdir()))
    wal = place / "bathkeeper.sqlite3-wal"
    wal_mb = wal.stat().st_size / 1e6 if wal.exists() else 0.0
    log_mb = sum(file.stat().st_size for file in log.parent.iterdir()) / 1e6
    return (f"{int(kb) / 1024:.0f} MB, {descriptors} descriptors, "
            f"write-ahead log {wal_mb:.1f} MB, log lines {log_mb:.1f} MB")  # fmt: skip


def _live(server: RunningServer, done: _Done, is_over: threading.Event, number: int) -> None:
    """One client: a wash, then some pages, over connections that come and go."""
    drawn = random.Random(number)
    while not is_over.is_set():
        connection = http.client.HTTPConnection(urlsplit(server.url).netloc, timeout=60)
        try:
            for _ in range(10):
                post_wash_ms(connection, ROOM, f"t{drawn.randint(1, TANKS):02d}")
                done.washes += 1
                for path in drawn.sample(READS, 4):
                    get_ms(connection, f"/rooms/{ROOM}{path}")
                    done.reads += 1
        except (OSError, RuntimeError, http.client.HTTPException) as error:
            done.errors.append(repr(error)[:200])
        finally:
            connection.close()
