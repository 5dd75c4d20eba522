"""A server killed again and again (SIGKILL) while people write, and what is left after each kill.

A life of the server is one of `ACTS`: washes, an import, steps of a swap, photos, or bringing an
old database up to date. After each kill the database is looked at as it lies there (SQLite's own
integrity check; PostgreSQL looks after its files itself, so its sessions are waited for), then all
that was acknowledged is looked for, and the chain of the log is walked. Every so often the figures
are worked out anew and held against those that were kept.
"""

import http.client
import json
import os
import random
import shutil
import signal
import sqlite3
import tempfile
import threading
import time
import uuid
from argparse import Namespace
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from hashlib import sha256
from multiprocessing import get_context
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

from sqlalchemy import text
from sqlmodel import Session, select

from app.clock import utc_now
from app.domain.inspections.conditions import CONDITIONS
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.baths import SwapStarted
from app.domain.roomlog.kinds.checklists import SwapOpened
from app.domain.roomlog.kinds.site import ClockConfirmed
from app.services.baths.states import baths_of
from app.services.catching_up import catch_up_abandoned
from app.services.chaining import chain_up
from app.services.door import bring_in
from app.services.importing.importing import check_file, store_checked
from app.services.rebuilding import rebuild_outdated
from app.services.rooms import find_room
from app.services.verifying import verify
from app.store import migrations
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from app.store.photos import SIZES, PhotoFolder
from app.store.room_photos import has_photo
from app.store.tables import EntryRow
from tests.benchmark import kill_writers
from tests.benchmark.rooms import room_history
from tests.factories import ROOM, furnish
from tests.photos import photo
from tests.postgres import temporary_database
from tests.running import free_port
from tests.services.law import check_states, true_order

KILLS = 500
SERVERS_EVERY = 8
"""Rounds of acts: in the others what is killed is the program without its web server."""
MIGRATIONS = 3
LONG = ("import", "migration")
LIVES = 32  # on one database, before a new one is made
SAID_EVERY = 10
PRELOADED = [
    "app.cli.serving",
    "app.web.pages",
    "tests.benchmark.kill_writers",
    "tests.benchmark.kills",
]
"""What servers are forked from, so that a life begins soon."""
WRITERS = 4
MOST = 10  # acknowledged in a life
LONGEST_S = 3.0
START_WITHIN_S = 60.0
OLD_FORM = "0010"
OLD_EVENTS = 400
LINES = 400
STEPS = 60
TANKS, SWAPPED = 8, 8
"""Tanks that are washed in, and tanks behind them that are swapped all the time."""
PARTS = {"impellers": "3", "with_shaft_seal": "on", "fitted_on": "2026-02-20", "by": "Wren"}
API = f"/api/v1/rooms/{ROOM}"
DATABASE = "bathkeeper.sqlite3"


@dataclass
class Tally:
    """What came of all kills."""

    kills: Counter[str] = field(default_factory=Counter)
    acknowledged: Counter[str] = field(default_factory=Counter)
    lost: list[str] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)

    def words(self, where: str) -> str:
        """The result in two lines."""
        acts = ", ".join(f"{name} {count}" for name, count in sorted(self.kills.items()))
        acknowledged = ", ".join(f"{n} {count:,}" for n, count in sorted(self.acknowledged.items()))
        return (
            f"{where}: {self.kills.total():,} kills ({acts})\n  acknowledged {acknowledged}: lost "
            f"{len(self.lost)}; damaged databases, chains or figures {len(self.damaged)}"
        )


@dataclass
class Place:
    """A database and its folder, and what it must still hold.

    Attributes:
        uids: of acknowledged entries; `photos` that were; `files` of imports, with their lines.
    """

    folder: Path
    url: str
    uids: set[str] = field(default_factory=set)
    photos: set[str] = field(default_factory=set)
    files: dict[str, int] = field(default_factory=dict)
    ticked: int = 0
    lives: int = 0


class Life:
    """A server in a process of its own, until it is killed."""

    def __init__(self, place: Place, *, is_waited_for: bool = True) -> None:
        self.port = free_port()
        self.is_over = threading.Event()
        process = get_context("forkserver").Process(
            target=_serve, args=(str(place.folder), place.url, self.port), daemon=True
        )
        process.start()
        self.process: BaseProcess = process
        if is_waited_for:
            self._wait()

    def _wait(self) -> None:
        give_up_at_s = time.monotonic() + START_WITHIN_S
        while True:
            try:
                if self.ask("GET", "/readyz")[0] == 200:
                    return
            except (OSError, http.client.HTTPException):
                pass
            if time.monotonic() > give_up_at_s or not self.process.is_alive():
                raise RuntimeError("The server does not serve.")
            time.sleep(0.01)

    def ask(
        self, method: str, path: str, body: bytes | str | None = None, **headers: str
    ) -> tuple[int, bytes]:
        """Status and body of an answer."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        sent = {name.replace("_", "-"): value for name, value in headers.items()}
        try:
            connection.request(method, path, body, sent)
            answer = connection.getresponse()
            return answer.status, answer.read()
        finally:
            connection.close()

    def enter(self, **values: object) -> str:
        """The id of an entry that was acknowledged; what the room asks is answered with yes."""
        body, key, asked = json.dumps(values), uuid.uuid4().hex, ""
        for _ in range(3):
            status, said = self.ask(
                "POST", f"{API}/entries{asked}", body, Content_Type="application/json",
                Idempotency_Key=key,
            )  # fmt: skip
            if status == 201:
                return str(json.loads(said)["ids"][0])
            names = [one["name"] for one in json.loads(said).get("questions", [])]
            asked = "?" + urlencode({"confirm": names}, doseq=True)
            if not names:
                break
        raise RuntimeError(f"{values['kind']}: {status} {said[:300]!r}")

    def form(self, path: str, **values: str) -> bytes:
        """The answer to a form that was stored."""
        origin = f"http://127.0.0.1:{self.port}"
        kind = "application/x-www-form-urlencoded"
        status, said = self.ask(
            "POST", path, urlencode(values), Content_Type=kind, Origin=origin
        )  # fmt: skip
        if status not in (200, 204, 303):
            raise RuntimeError(f"{path}: {status} {said[:300]!r}")
        return said

    def kill(self) -> None:
        """End it as the system does, without a word."""
        self.is_over.set()
        pid = self.process.pid
        assert pid is not None
        os.kill(pid, signal.SIGKILL)
        self.process.join()


def _serve(folder: str, url: str, port: int) -> None:
    import socket

    os.environ["BATHKEEPER_DATABASE"] = url
    from app.cli.serving import serve

    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    listener.listen(128)
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    serve(
        Namespace(
            data=Path(folder),
            listener=listener,
            host="127.0.0.1",
            sign_in=None,
            https=False,
            new_manager=False,
        )
    )


# What is done while the server lives -----------------------------------------------------------


def _until_killed(
    life: Life, work: Callable[[int], bool], writers: int = WRITERS, most: int = MOST
) -> None:
    """Work in threads until the server is gone; an error before that is told.

    It is killed a moment after so many were acknowledged, at random; `work` says whether one was.
    """
    acknowledged: list[None] = []
    troubles: list[BaseException] = []

    def repeat(number: int) -> None:
        try:
            while not life.is_over.is_set():
                if work(number):
                    acknowledged.append(None)
        except (OSError, http.client.HTTPException, ValueError):
            if not life.is_over.wait(5):
                troubles.append(RuntimeError("The server went away by itself."))
        except RuntimeError as error:
            if not life.is_over.is_set():
                troubles.append(error)

    with ThreadPoolExecutor(writers) as pool:
        pool.map(repeat, range(writers))
        _wait_for(
            lambda: len(acknowledged),
            random.randint(min(most, random.choice((0, 1, 1, 1))), most),
            troubles,
        )
        time.sleep(random.uniform(0, LONGEST_S if most == 0 else 0.1))
        life.kill()
    if troubles:
        raise troubles[0]


def _wait_for(count: Callable[[], int], enough: int, troubles: list[BaseException]) -> None:
    give_up_at_s = time.monotonic() + START_WITHIN_S
    while count() < enough and not troubles and time.monotonic() < give_up_at_s:
        time.sleep(0.002)


def washes(place: Place, tally: Tally) -> None:
    """Washes by several programs at once."""
    life = Life(place)

    def one(number: int) -> bool:
        uid = life.enter(kind="wash", tank=f"t{1 + number % TANKS}", resin="slate", parts=5)
        place.uids.add(uid)
        tally.acknowledged["washes"] += 1
        return True

    _until_killed(life, one)


def steps(place: Place, tally: Tally) -> None:
    """Steps of a swap, one after the other."""
    assert place.ticked + 2 * MOST < SWAPPED * STEPS
    life = Life(place)

    def one(_: int) -> bool:
        swap, step = divmod(place.ticked, STEPS)
        place.ticked += 1
        uid = life.enter(kind="step_done", swap=f"swap-{swap}", step=f"s{step}", by="Wren")
        place.uids.add(uid)
        tally.acknowledged["steps"] += 1
        return True

    _until_killed(life, one, 1)


def photos(place: Place, tally: Tally) -> None:
    """Photos of parts, by the form."""
    tank = f"t{1 + place.lives % TANKS}"
    life = Life(place)
    if life.ask("GET", f"/rooms/{ROOM}/parts/{tank}-impeller-1")[0] == 404:
        life.form(f"/rooms/{ROOM}/tanks/{tank}/parts", **PARTS)
    if not (inspection := _open_inspection(life, tank)):
        begin = f"/rooms/{ROOM}/tanks/{tank}/inspection"
        life.form(begin, by="Wren", submission=uuid.uuid4().hex)
        inspection = _open_inspection(life, tank)

    def one(number: int) -> bool:
        turn = random.randrange(1 << 30)
        content = photo("jpg", 1 + turn % 8, 200 + turn % 97, 160 + turn % 89) + str(turn).encode()
        part = f"{tank}-impeller-{1 + number}"
        at = f"/rooms/{ROOM}/inspections/{inspection}/parts/{part}"
        values = {"by": "Wren", "view": "close", "submission": uuid.uuid4().hex}
        values |= {one.key: "no" for one in CONDITIONS["impeller"]}
        status = _upload(life, at, values, content)
        if status != 303:
            raise RuntimeError(f"{at}: {status}")
        place.photos.add(sha256(content).hexdigest())
        tally.acknowledged["photos"] += 1
        return True

    _until_killed(life, one, 2)


def _open_inspection(life: Life, tank: str) -> str:
    status, said = life.ask("GET", f"{API}/books/inspection")
    assert status == 200, said[:200]
    for key, one in json.loads(said)["states"].items():
        if one["tank"] == tank and not one.get("is_closed"):
            return str(key)
    return ""


def _upload(life: Life, at: str, values: dict[str, str], content: bytes) -> int:
    mark = uuid.uuid4().hex
    lines = [
        f'--{mark}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
        for name, value in values.items()
    ]
    head = (
        f'--{mark}\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n'
        "Content-Type: image/jpeg\r\n\r\n"
    )
    body = "".join(lines).encode() + head.encode() + content + f"\r\n--{mark}--\r\n".encode()
    status, _ = life.ask(
        "POST", at, body, Content_Type=f"multipart/form-data; boundary={mark}",
        Origin=f"http://127.0.0.1:{life.port}",
    )  # fmt: skip
    return status


def imports(place: Place, tally: Tally) -> None:
    """A file that is brought in, given again after the kill until it is in."""
    mark = uuid.uuid4().hex[:8]
    at = utc_now().isoformat()
    lines = [
        json.dumps({"kind": "wash", "id": f"{mark}-{n}", "at": at, "tank": f"t{1 + n % TANKS}",
                    "resin": "slate", "parts": 2})
        for n in range(LINES)
    ]  # fmt: skip
    body = "\n".join(lines)

    def give(life: Life) -> bool:
        status, said = life.ask("POST", f"{API}/import", body, Content_Type="application/x-ndjson")
        if status not in (200, 201, 409):
            raise RuntimeError(f"import: {status} {said[:300]!r}")
        return status != 409

    life = Life(place)
    is_in = False

    def one(_: int) -> bool:
        nonlocal is_in
        is_in = is_in or give(life)
        life.is_over.wait(LONGEST_S if is_in else 0)
        return is_in

    _until_killed(life, one, 1, 0)
    if not is_in:
        after = Life(place)
        give_up_at_s = time.monotonic() + 120
        while not give(after):
            assert time.monotonic() < give_up_at_s
            time.sleep(0.2)  # the run that was killed counts as going on for a while
        after.kill()
        tally.kills["import, once it was in"] += 1
    place.files[mark] = LINES
    tally.acknowledged["imported lines"] += LINES


ACTS: dict[str, Callable[[Place, Tally], None]] = {
    "wash": washes, "step": steps, "photo": photos, "import": imports,
}  # fmt: skip


# What is left -----------------------------------------------------------------------------------


def check(place: Place, tally: Tally, *, are_figures_held: bool) -> None:
    """Hold what is left against what was acknowledged."""
    if place.url.startswith("sqlite"):
        with closing(sqlite3.connect(place.folder / DATABASE)) as database:
            (said,) = database.execute("PRAGMA integrity_check").fetchone()
        if said != "ok":
            tally.damaged.append(f"integrity: {said}")
    store = open_store(place.url)
    try:
        if not place.url.startswith("sqlite"):
            _wait_for_sessions(store)
        with Session(store.reader) as session:
            room = find_room(session, ROOM)
            uids = set(session.exec(select(EntryRow.uid).where(EntryRow.room_id == room.id)))
            walked = verify(session, room)
            folder = PhotoFolder(place.folder)
            for digest in place.photos:
                is_sound = all(folder.sound(digest, size) is not None for size in SIZES)
                if not is_sound or not has_photo(session, room.id or 0, digest):
                    tally.lost.append(f"photo {digest}")
        tally.lost += [f"entry {uid}" for uid in place.uids - uids]
        for mark, count in place.files.items():
            if count and sum(uid.startswith(f"{mark}-") for uid in uids) != count:
                tally.lost.append(f"import {mark}")
        if walked.wrong:
            tally.damaged.append(walked.wrong)
        if are_figures_held:
            _hold_figures(store, tally)
    finally:
        store.close()


def _wait_for_sessions(store: Store) -> None:
    """PostgreSQL ends what a client began that is gone: until then it may still commit."""
    others = text(
        "SELECT count(*) FROM pg_stat_activity "
        "WHERE datname = current_database() AND pid <> pg_backend_pid()"
    )
    with store.reader.connect() as connection:
        for _ in range(600):
            if not connection.scalar(others):
                return
            time.sleep(0.05)


def _hold_figures(store: Store, tally: Tally) -> None:
    catch_up_abandoned(store, utc_now)
    try:
        with Session(store.reader) as session:
            room = find_room(session, ROOM)
            check_states(session, room, baths_of(room), true_order(session, room))
    except AssertionError as error:
        tally.damaged.append(f"figures: {str(error)[:200]}")


def _make(folder: Path, url: str) -> Place:
    folder.mkdir(parents=True, exist_ok=True)
    store = open_store(url)
    upgrade(store)
    furnish(store, tanks=TANKS + SWAPPED)
    now = utc_now()
    bring_in(store, ROOM, [ClockConfirmed(at=now, site="site"), *_swaps(now)], now)
    store.close()
    return Place(folder, url)


def _swaps(now: datetime) -> Iterator[Entry]:
    """A swap under way in each of some tanks, with a list that holds nothing but looks."""
    listed = [{"key": f"s{number}", "title": f"Look {number}"} for number in range(STEPS)]
    for number in range(SWAPPED):
        tank, swap = f"t{TANKS + 1 + number}", f"swap-{number}"
        yield SwapStarted(at=now, tank=tank, swap=swap, by="Wren")
        yield SwapOpened(
            at=now, tank=tank, swap=swap, checklist="swap", version=1, steps=listed, by="Wren",
            estimated_l=35.0, capacity_l=40.0, solvent="isopropanol",
        )  # fmt: skip


# Without a web server ---------------------------------------------------------------------------


def kill_writer(place: Place, name: str, tally: Tally, **given: Any) -> bool:
    """Kill a process that writes to the database itself; whether it had come to its end."""
    here, there = get_context("forkserver").Pipe(duplex=False)
    given |= {"seed": random.random(), "ticked": place.ticked, "steps": STEPS, "swaps": SWAPPED}
    process = get_context("forkserver").Process(
        target=kill_writers.main, args=(str(place.folder), place.url, name, given, there)
    )
    process.start()
    there.close()
    enough, said = random.randint(0, MOST), list[tuple[str, str]]()
    until_s = time.monotonic() + (random.uniform(0, 2.5) if name in LONG else START_WITHIN_S)
    while len(said) < enough and here.poll(max(0.0, until_s - time.monotonic())):
        try:
            said.append(here.recv())
        except EOFError:
            break
    time.sleep(random.uniform(0, 0.05))
    process.kill()
    process.join()
    while here.poll():
        try:
            said.append(here.recv())
        except EOFError:
            break
    here.close()
    tally.kills[f"{name}, no web server"] += 1
    if process.exitcode not in (0, -signal.SIGKILL):
        raise RuntimeError(f"{name}: the writer ended by itself")
    _acknowledge(place, tally, said)
    place.ticked += name in ("step", "photo")  # one may have been stored and not said
    return any(what in ("imports", "migrations") for what, _ in said)


def _acknowledge(place: Place, tally: Tally, said: list[tuple[str, str]]) -> None:
    for what, word in said:
        uid, _, digest = word.partition(" ")
        if what in ("washes", "steps", "photos"):
            tally.acknowledged[what] += 1
            place.uids.add(uid)
        if what in ("steps", "photos"):
            place.ticked += 1
        if digest:
            place.photos.add(digest)


def kill_import(place: Place, tally: Tally) -> None:
    """Kill an import one to three times, then let it come to its end."""
    file = place.folder / "log.jsonl"
    mark = kill_writers.write_lines(file, LINES, TANKS)
    for _ in range(random.randint(1, 3)):
        if kill_writer(place, "import", tally, file=str(file)):
            break
    store = open_store(place.url)
    checked = check_file(store, ROOM, file, utc_now())
    store_checked(store, ROOM, checked, utc_now)
    store.close()
    place.files[mark] = LINES
    tally.acknowledged["imported lines"] += LINES


# An old database --------------------------------------------------------------------------------


def kill_migrations(scratch: Path, kills: int, tally: Tally, new_url: Callable[[], str]) -> None:
    """Bring an old database up to date by programs that are killed on the way, then to the end."""
    before = tally.kills.total()
    while tally.kills.total() - before < kills:
        folder = scratch / f"old-{uuid.uuid4().hex[:8]}"
        folder.mkdir()
        url = new_url() or f"sqlite:///{folder / DATABASE}"
        place = Place(folder, url, uids=_make_old(url))
        for _ in range(8):
            if kill_writer(place, "migration", tally):
                break
        store = open_store(url)
        upgrade(store)
        chain_up(store, utc_now())
        rebuild_outdated(store, utc_now())
        store.close()
        check(place, tally, are_figures_held=True)
        tally.acknowledged["entries of old databases"] += len(place.uids)
        shutil.rmtree(folder)


def _make_old(url: str) -> set[str]:
    from alembic import command

    store = open_store(url)
    upgrade(store)
    furnish(store, tanks=TANKS)
    now = utc_now()
    bring_in(store, ROOM, list(room_history(TANKS, OLD_EVENTS, now)), now)
    with Session(store.reader) as session:
        uids = set(session.exec(select(EntryRow.uid)))
    with store.writer.begin() as connection:
        command.downgrade(migrations.alembic_config(connection), OLD_FORM)
    store.close()
    return uids


# All of it --------------------------------------------------------------------------------------


def _kill_once(place: Place, turn: int, tally: Tally) -> None:
    """The next act, in turn; every so often with a whole server."""
    name = list(ACTS)[turn % len(ACTS)]
    if turn // len(ACTS) % SERVERS_EVERY == 0:
        ACTS[name](place, tally)
        tally.kills[name] += 1
    elif name == "import":
        kill_import(place, tally)
    else:
        kill_writer(place, name, tally)


def kill_servers(
    scratch: Path, kills: int, postgres: str = "", *, seed: int = 1,
    say: Callable[[Tally], object] = str,
) -> Tally:  # fmt: skip
    """Kill servers so many times, acts in turn, some of a migration before each new database."""
    random.seed(seed)
    get_context("forkserver").set_forkserver_preload(PRELOADED)
    tally = Tally()
    with _databases(postgres) as new_url:
        place, turn = None, 0
        while turn < len(ACTS) or tally.kills.total() < kills:
            if place is None or place.lives >= LIVES:
                if place is not None:
                    shutil.rmtree(place.folder)
                kill_migrations(scratch, MIGRATIONS, tally, new_url)
                folder = scratch / f"data-{uuid.uuid4().hex[:8]}"
                place = _make(folder, new_url() or f"sqlite:///{folder / DATABASE}")
            _kill_once(place, turn, tally)
            turn += 1
            place.lives += 1
            check(place, tally, are_figures_held=place.lives == LIVES)
            if turn % SAID_EVERY == 0:
                say(tally)
    return tally


@contextmanager
def _databases(postgres: str) -> Iterator[Callable[[], str]]:
    """New empty databases, one after the other; an empty address where they are files."""
    from contextlib import ExitStack

    with ExitStack() as stack:

        def new_url() -> str:
            if not postgres:
                return ""
            stack.pop_all().close()
            return stack.enter_context(temporary_database(postgres))

        yield new_url


def measure_kills(kills: int, where: str | None = None) -> bool:
    """Print what came of so many kills on SQLite, and of as many on PostgreSQL where it is."""
    address = os.environ.get("BATHKEEPER_TEST_POSTGRES", "")
    is_well = True
    for name in ("sqlite", "postgres"):
        if where not in (None, name):
            continue
        if name == "postgres" and not address:
            print("postgres: BATHKEEPER_TEST_POSTGRES is not set")
            continue
        with tempfile.TemporaryDirectory() as scratch:
            url = address if name == "postgres" else ""
            tally = kill_servers(Path(scratch), kills, url, say=lambda now, to=name: _say(now, to))
        _say(tally, name)
        for one in (*tally.lost[:10], *tally.damaged[:10]):
            print(f"  {one}")
        is_well = is_well and not tally.lost and not tally.damaged
    return is_well


def _say(tally: Tally, name: str) -> None:
    print(tally.words(name), flush=True)
