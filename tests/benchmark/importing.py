"""An import of many entries, and what others notice of it: errors, and how long they wait."""

import http.client
import json
import shutil
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from statistics import median

from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.lines import to_line
from app.services.acts.rooms import RoomForm, add_room
from app.services.changes import Progress
from app.services.door import bring_in as record
from app.services.importing.importing import check_file, store_checked
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from tests.benchmark.load import served
from tests.benchmark.rooms import ROOM, room_history

TANKS = 60
OTHER = "other"
CLIENTS = 20  # half of them in the room of the import, half in another one
PAUSE_S = 2.0  # between two washes of a client: ten a second in all
QUIET_S = 20.0
ROUNDS = 3


def measure_import(folder: Path, events: int, say: Progress) -> None:
    """Print how long an import takes against one write, and what others wait while it runs."""
    now = datetime.now(UTC)
    log = folder / f"log-{events}.jsonl"
    history = room_history(TANKS, events, now)
    definitions = list(islice(history, TANKS + 3))
    with log.open("w", encoding="utf-8") as file:
        file.writelines(f"{to_line(entry)}\n" for entry in history)
    _measure_time(folder, log, definitions, now, say)
    for how, begin in (("command line", _by_command), ("page", _by_page)):
        _measure_waiting(how, begin, folder, log, definitions, now)


def _measure_time(
    folder: Path, log: Path, definitions: Sequence[Entry], now: datetime, say: Progress
) -> None:
    """In turn, so that a slow moment of the machine falls on both."""
    ratios = []
    for done in range(ROUNDS):
        whole_s = _timed_s(folder, log, definitions, now, _in_one_write)
        sliced_s = _timed_s(folder, log, definitions, now, _in_slices)
        ratios.append(sliced_s / whole_s)
        say("Importing", done + 1, ROUNDS)
    print(f"import alone, {ROUNDS} rounds in turn:")
    print(f"  in slices {sliced_s:.1f} s; against one write: ratio {median(ratios):.2f}")


def _timed_s(
    folder: Path,
    log: Path,
    definitions: Sequence[Entry],
    now: datetime,
    bring_in: Callable[[Store, Path, datetime], None],
) -> float:
    with _two_rooms(folder, definitions, now) as (_, store):
        start = time.perf_counter()
        bring_in(store, log, now)
        return time.perf_counter() - start


def _in_one_write(store: Store, log: Path, now: datetime) -> None:
    record(store, ROOM, check_file(store, ROOM, log, now).entries, now)


def _in_slices(store: Store, log: Path, now: datetime) -> None:
    store_checked(store, ROOM, check_file(store, ROOM, log, now), lambda: datetime.now(UTC))


@contextmanager
def _two_rooms(
    folder: Path, definitions: Sequence[Entry], now: datetime
) -> Iterator[tuple[Path, Store]]:
    """A database with two rooms of the same tanks, in a folder that is taken away again."""
    place = Path(tempfile.mkdtemp(dir=folder))
    store = open_store(f"sqlite:///{place / 'bathkeeper.sqlite3'}")
    try:
        upgrade(store)
        for key in (ROOM, OTHER):
            add_room(store, RoomForm(name=key, key=key), now)
            record(store, key, definitions, now)
        yield place, store
    finally:
        store.close()
        shutil.rmtree(place)


@dataclass
class Logged:
    """What the clients saw.

    Attributes:
        times_ms: how long each wash took, by room.
        errors: answers that were no success.
    """

    times_ms: dict[str, list[float]] = field(default_factory=lambda: {ROOM: [], OTHER: []})
    errors: list[str] = field(default_factory=list)


@contextmanager
def _clients(port: int, logged: Logged) -> Iterator[None]:
    """Clients that log washes, one after another, until the block ends."""
    is_over = threading.Event()
    threads = [
        threading.Thread(target=_keep_logging, args=(port, number, logged, is_over))
        for number in range(CLIENTS)
    ]
    for thread in threads:
        thread.start()
    try:
        yield
    finally:
        is_over.set()
        for thread in threads:
            thread.join()


def _keep_logging(port: int, number: int, logged: Logged, is_over: threading.Event) -> None:
    room = (ROOM, OTHER)[number % 2]
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    wash = {"kind": "wash", "tank": f"t{number + 1:02d}", "resin": "slate", "area_cm2": 900.0}
    is_over.wait(PAUSE_S * number / CLIENTS)
    while not is_over.is_set():
        headers = {"Content-Type": "application/json", "Idempotency-Key": uuid.uuid4().hex}
        start = time.perf_counter()
        try:
            connection.request("POST", f"/api/v1/rooms/{room}/entries", json.dumps(wash), headers)
            answer = connection.getresponse()
            content = answer.read()
            if answer.status != 201:
                logged.errors.append(f"{answer.status} {content[:200]!r}")
        except OSError as error:
            logged.errors.append(repr(error))
            connection.close()
        logged.times_ms[room].append(1000 * (time.perf_counter() - start))
        is_over.wait(PAUSE_S)


Begin = Callable[[Path, int, Path], None]


def _measure_waiting(
    how: str,
    bring_in: Begin,
    folder: Path,
    log: Path,
    definitions: Sequence[Entry],
    now: datetime,
) -> None:
    with _two_rooms(folder, definitions, now) as (place, store):
        store.close()
        with served(place) as connection:
            assert connection.port is not None
            quiet, busy = Logged(), Logged()
            with _clients(connection.port, quiet):
                time.sleep(QUIET_S)
            start = time.perf_counter()
            with _clients(connection.port, busy):
                bring_in(place, connection.port, log)
            took_s = time.perf_counter() - start
            with _clients(connection.port, quiet):
                time.sleep(QUIET_S)
    print(f"{CLIENTS} clients during an import by {how} ({took_s:.0f} s):")
    for name, room in (("same room", ROOM), ("other room", OTHER)):
        some, many = sorted(quiet.times_ms[room]), sorted(busy.times_ms[room])
        p99, own = _p99(many), _p99(some)
        print(
            f"  {name}: {len(many):,} washes, p99 {p99:.0f} ms, without {own:.0f} ms: "
            f"ratio {p99 / own:.2f}; median {median(many):.0f} against {median(some):.0f} ms"
        )
    print(f"  errors {len(quiet.errors) + len(busy.errors)}", *busy.errors[:3])


def _p99(times_ms: Sequence[float]) -> float:
    return times_ms[int(0.99 * (len(times_ms) - 1))]


def _by_command(place: Path, _port: int, log: Path) -> None:
    words = ["import", str(log), "--room", ROOM, "--data", str(place)]
    done = subprocess.run(
        [sys.executable, "-m", "app", *words], check=False, capture_output=True, text=True
    )
    if done.returncode:
        raise RuntimeError(done.stderr)


def _by_page(_place: Path, port: int, log: Path) -> None:
    """Give the file as the form does, wait until it is read, and store it."""
    connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
    mark = uuid.uuid4().hex
    head = f'--{mark}\r\nContent-Disposition: form-data; name="log"; filename="log.jsonl"\r\n\r\n'
    body = head.encode() + log.read_bytes() + f"\r\n--{mark}--\r\n".encode()
    kind = {"Content-Type": f"multipart/form-data; boundary={mark}"}
    connection.request("POST", f"/rooms/{ROOM}/import", body, kind)
    answer = connection.getresponse()
    answer.read()
    address = answer.headers["location"]
    _wait(connection, address, "Nothing is stored yet")
    connection.request(
        "POST", f"{address}/store", b"", {"Content-Type": "application/x-www-form-urlencoded"}
    )
    connection.getresponse().read()
    _wait(connection, address, "Stored: ")


def _wait(connection: http.client.HTTPConnection, address: str, words: str) -> None:
    give_up_at = time.monotonic() + 600
    while time.monotonic() < give_up_at:
        connection.request("GET", address)
        text = connection.getresponse().read().decode()
        if words in text:
            return
        time.sleep(0.5)
    raise RuntimeError(f"“{words}” does not come: {text[:2000]}")
