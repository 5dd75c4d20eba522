"""Several servers on one PostgreSQL database against one: washes and pages a second, and how long a
page on the one takes to show what the other stored. Needs BATHKEEPER_TEST_POSTGRES."""

import http.client
import os
import socket
import tempfile
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from statistics import median, quantiles
from urllib.parse import urlsplit

from sqlalchemy import create_engine, text

from app.clock import utc_now
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in
from app.store.engine import open_store
from app.store.migrations import upgrade
from tests.benchmark.load import get_ms, post_wash_ms
from tests.benchmark.rooms import room_history
from tests.postgres import temporary_database
from tests.running import RunningServer, start_server

ROOMS, COMPANY, TANKS = 8, 200, 6
EVENTS = {ROOMS: 400, COMPANY: 60}
"""Past entries of each room, by how many rooms there are."""
CLIENTS, SECONDS, TURNS = 8, 20.0, 2
SAVES, APART_S = 60, 1.2
PAGES_A_WASH = 4


def measure_servers(rooms: int = ROOMS, servers: int = 2) -> None:
    """Print the rates of one and of several servers, turn by turn, the time across, and what
    it took: memory of each server, size of the database, connections."""
    address = os.environ.get("BATHKEEPER_TEST_POSTGRES")
    if not address:
        print("servers: BATHKEEPER_TEST_POSTGRES is not set")
        return
    with temporary_database(address) as url, tempfile.TemporaryDirectory() as folder:
        _make(url, rooms)
        with _several(url, Path(folder), servers) as pair:
            rates: dict[int, list[float]] = {1: [], servers: []}
            for _ in range(TURNS):
                for count in (1, servers):
                    washes, pages, errors = _load(pair[:count], rooms)
                    rates[count].append(washes + pages)
                    print(
                        f"  {count} of {servers} servers: {washes:.1f} washes and {pages:.1f} "
                        f"room pages a second, {CLIENTS} clients, {rooms} rooms, errors {errors}"
                    )
            ratio = median(rates[servers]) / median(rates[1])
            print(f"{servers} servers against one: ratio {ratio:.2f}, {os.cpu_count()} cores")
            _across(pair[:2])
            _weigh(url, pair)


def _make(url: str, rooms: int) -> None:
    store = open_store(url)
    upgrade(store)
    now = utc_now()
    for number in range(rooms):
        add_room(store, RoomForm(name=f"Room {number}", key=f"room-{number}"), now)
        bring_in(
            store, f"room-{number}", list(room_history(TANKS, EVENTS[rooms], now, number)), now
        )
    store.close()


@contextmanager
def _several(url: str, folder: Path, servers: int) -> Iterator[Sequence[RunningServer]]:
    shared = folder / "shared"
    shared.mkdir()
    variables = {"BATHKEEPER_DATABASE": url}
    running = [
        start_server("serve", data_dir=shared, variables=variables, within_s=300)
        for _ in range(servers)
    ]
    try:
        yield running
    finally:
        for server in running:
            server.stop()


def _load(servers: Sequence[RunningServer], rooms: int) -> tuple[float, float, int]:
    """Washes and pages a second, and errors, of clients that ask without a pause."""
    done, errors, until_s = [0, 0], list[str](), time.monotonic() + SECONDS
    lock = threading.Lock()

    def client(number: int) -> None:
        host = urlsplit(servers[number % len(servers)].url).netloc
        connection, count = http.client.HTTPConnection(host, timeout=60), 0
        while time.monotonic() < until_s:
            room = f"room-{(number + count * CLIENTS) % rooms}"
            count += 1
            try:
                post_wash_ms(connection, room, f"t{1 + count % TANKS:02d}")
                for _ in range(PAGES_A_WASH):
                    get_ms(connection, f"/rooms/{room}")
            except (OSError, RuntimeError, http.client.HTTPException) as error:
                errors.append(str(error))
                connection.close()
                continue
            with lock:
                done[0] += 1
                done[1] += PAGES_A_WASH
        connection.close()

    threads = [threading.Thread(target=client, args=(number,)) for number in range(CLIENTS)]
    begun_s = time.monotonic()
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    took_s = time.monotonic() - begun_s
    for error in errors[:3]:
        print(f"  {error[:200]}")
    return done[0] / took_s, done[1] / took_s, len(errors)


def _across(pair: Sequence[RunningServer]) -> None:
    """From the answer to a save on one server until the other's page is told, and shows it."""
    one, two = (urlsplit(server.url).netloc for server in pair)
    writer, reader = (http.client.HTTPConnection(host, timeout=60) for host in (one, two))
    host, _, port = two.partition(":")
    told_ms, shown_ms = [], []
    with socket.create_connection((host, int(port)), 60) as stream:
        request = f"GET /rooms/room-0/live HTTP/1.1\r\nHost: {two}\r\n\r\n"
        stream.sendall(request.encode())
        while b": listening" not in stream.recv(65536):
            pass
        for count in range(SAVES):
            time.sleep(APART_S)
            post_wash_ms(writer, "room-0", f"t{1 + count % TANKS:02d}")
            saved_s = time.perf_counter()
            while b"room-changed" not in stream.recv(65536):
                pass
            told_ms.append(1000 * (time.perf_counter() - saved_s))
            get_ms(reader, "/rooms/room-0")
            shown_ms.append(1000 * (time.perf_counter() - saved_s))
    for name, times in (("told", told_ms), ("shown", shown_ms)):
        print(f"from saved on one to {name} on the other: median {median(times):.0f} ms, "
              f"one in a hundred more than {quantiles(times, n=100)[98]:.0f} ms")  # fmt: skip


def _weigh(url: str, pair: Sequence[RunningServer]) -> None:
    for server in pair:
        status = Path(f"/proc/{server.process.pid}/status").read_text()
        [kb] = [line.split()[1] for line in status.splitlines() if line.startswith("VmRSS")]
        print(f"memory of a server: {int(kb) / 1024:.0f} MB")
    engine = create_engine(url)
    with engine.connect() as connection:
        size = connection.scalar(text("SELECT pg_database_size(current_database())")) or 0
        held = connection.scalar(
            text("SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()")
        )
    engine.dispose()
    print(f"database: {size / 1e6:.0f} MB; connections held: {(held or 1) - 1}")
