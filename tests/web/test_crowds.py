"""Many at once: live pages, forms, and more requests than there are connections."""

import http.client
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlencode, urlsplit

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, text
from sqlmodel import Session, func, select

from app.clock import utc_now
from app.domain.errors import Busy
from app.store import engine, turns
from app.store.engine import Store, open_store
from app.store.migrations import upgrade
from app.store.tables import EntryRow, RoomRow
from app.store.turns import Turns
from tests.factories import ROOM, believe_clock, furnish
from tests.furnished import new_store
from tests.many_pages import live_pages
from tests.running import RunningServer
from tests.visiting import visiting

Serve = Callable[..., RunningServer]
PAGES, WRITES, FORMS = 60, 300, 60
AT_NIGHT = 200
"""Pages in a nightly run; the others are more, too, than a server has connections."""
MOST_LOG_BYTES = 15 * 10**6
WASH = f"/rooms/{ROOM}/tanks/t1/log/wash"


def post_form(url: str, number: int) -> int:
    """Log a wash by the form; the status of the answer."""
    connection = http.client.HTTPConnection(urlsplit(url).netloc, timeout=120)
    values = {"resin": "slate", "parts": "5", "minutes": f"{1 + number / 100}"}
    values["submission"] = f"form-{number}"
    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    try:
        connection.request("POST", WASH, urlencode(values), headers)
        return connection.getresponse().status
    finally:
        connection.close()


@pytest.fixture
def served(serve: Serve, tmp_path: Path) -> Iterator[RunningServer]:
    """A server on a small room, its database SQLite's."""
    store = new_store(tmp_path / "data")
    furnish(store, tanks=2)
    believe_clock(store, utc_now())
    store.close()
    server = serve("serve", data_dir=tmp_path / "data")
    yield server
    server.stop()


@pytest.fixture
def served_by_postgres(serve: Serve, tmp_path: Path, postgres_url: str) -> Iterator[RunningServer]:
    """The same on PostgreSQL."""
    store = open_store(postgres_url)
    upgrade(store)
    furnish(store, tanks=2)
    believe_clock(store, utc_now())
    store.close()
    server = serve(
        "serve", data_dir=tmp_path / "p", variables={"BATHKEEPER_DATABASE": postgres_url}
    )
    yield server
    server.stop()


def test_many_live_pages_take_no_connection_and_leave_the_log_file_small(
    served: RunningServer, pytestconfig: pytest.Config
) -> None:
    log = served.data_dir / "bathkeeper.sqlite3-wal"
    largest, count = 0, AT_NIGHT if pytestconfig.getoption("nightly") else PAGES
    assert count > engine.CONNECTIONS
    with live_pages(served.url, ROOM, count) as pages:
        for number in range(WRITES):
            assert post_form(served.url, number) == 303
            largest = max(largest, log.stat().st_size)
        deadline_s = time.monotonic() + 10
        while pages.notices < count and time.monotonic() < deadline_s:
            time.sleep(0.05)
        assert pages.notices >= count  # everyone heard of it
        assert pages.ended == 0
    assert largest < MOST_LOG_BYTES


def test_a_live_page_leaves_no_transaction_open_on_a_server(
    served_by_postgres: RunningServer, postgres_url: str
) -> None:
    states = text(
        "SELECT count(*) FROM pg_stat_activity "
        "WHERE datname = current_database() AND state LIKE 'idle in transaction%'"
    )
    with live_pages(served_by_postgres.url, ROOM, FORMS):
        watcher = create_engine(postgres_url)
        with watcher.connect() as connection:
            assert connection.execute(states).scalar() == 0
        watcher.dispose()
        assert post_form(served_by_postgres.url, 0) == 303


def sixty_at_once(server: RunningServer) -> Counter[int]:
    with ThreadPoolExecutor(FORMS) as people:
        return Counter(people.map(lambda number: post_form(server.url, number), range(FORMS)))


def test_60_forms_at_once_are_all_stored(served: RunningServer) -> None:
    assert sixty_at_once(served) == {303: FORMS}


def test_60_forms_at_once_are_all_stored_on_a_server(
    served_by_postgres: RunningServer, postgres_url: str
) -> None:
    assert sixty_at_once(served_by_postgres) == {303: FORMS}
    store = open_store(postgres_url)
    with Session(store.reader) as session:
        washes = select(func.count()).select_from(EntryRow).where(EntryRow.kind == "wash")
        assert session.exec(washes).one() == FORMS
    store.close()


# Where connections or turns are short -------------------------------------------------------------


@pytest.fixture
def scarce(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """A room with one connection to read with, and little patience."""
    monkeypatch.setattr(engine, "CONNECTIONS", 1)
    monkeypatch.setattr(engine, "KEPT_OPEN", 1)
    monkeypatch.setattr(engine, "PATIENCE_S", 0.2)
    monkeypatch.setattr(turns, "PATIENCE_S", 0.2)
    with visiting(tmp_path) as client:
        yield client


@contextmanager
def all_taken(store: Store) -> Iterator[None]:
    """Somebody else reads, on the only connection."""
    with Session(store.reader) as session:
        session.exec(select(RoomRow)).all()
        yield


def test_where_connections_are_short_a_page_says_when_to_try_again(scarce: TestClient) -> None:
    store = scarce.app.state.store  # type: ignore[attr-defined]
    with all_taken(store):
        busy = scarce.get(f"/rooms/{ROOM}")
    assert (busy.status_code, busy.headers["retry-after"]) == (503, "5")
    assert "Try again in a few seconds" in busy.text
    assert scarce.get(f"/rooms/{ROOM}").status_code == 200


def test_where_connections_are_short_a_program_is_told_when_to_try_again(
    scarce: TestClient,
) -> None:
    store = scarce.app.state.store  # type: ignore[attr-defined]
    with all_taken(store):
        busy = scarce.get(f"/api/v1/rooms/{ROOM}")
    assert (busy.status_code, busy.headers["retry-after"]) == (503, "5")
    assert busy.headers["content-type"] == "application/problem+json"  # RFC 9457
    assert "Try again in a few seconds" in busy.json()["detail"]
    assert scarce.get(f"/api/v1/rooms/{ROOM}").status_code == 200


@pytest.mark.parametrize("path", [WASH, f"/api/v1/rooms/{ROOM}/entries"])
def test_who_waits_too_long_to_store_is_told_that_nothing_was_stored(
    scarce: TestClient, path: str
) -> None:
    store = scarce.app.state.store  # type: ignore[attr-defined]
    wash = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 5}
    sent = {"json": wash} if path.startswith("/api") else {"data": wash}
    with store.lock:
        busy = scarce.post(path, **sent)  # type: ignore[arg-type]
    assert (busy.status_code, busy.headers["retry-after"]) == (503, "5")
    assert "Nothing was stored" in busy.text
    again = scarce.post(path, follow_redirects=False, **sent)  # type: ignore[arg-type]
    assert again.status_code in (201, 303)


def test_writers_take_turns_in_the_order_in_which_they_came() -> None:
    lock, order = Turns(), []
    waiting: list[threading.Thread] = []

    def write(number: int) -> None:
        with lock:
            order.append(number)

    with lock:
        for number in range(20):
            waiting.append(threading.Thread(target=write, args=[number]))
            waiting[-1].start()
            while len(lock._waiting) <= number:
                time.sleep(0.001)
    with lock:  # it was here last
        assert order == list(range(20))
    for thread in waiting:
        thread.join()


def test_one_who_gives_up_does_not_stop_those_behind(monkeypatch: pytest.MonkeyPatch) -> None:
    lock, stored = Turns(), []

    def write() -> None:
        with lock:
            stored.append(True)

    def give_up() -> None:
        with pytest.raises(Busy):
            write()

    with lock:
        monkeypatch.setattr(turns, "PATIENCE_S", 0.05)
        impatient = threading.Thread(target=give_up)
        impatient.start()
        impatient.join()
        monkeypatch.setattr(turns, "PATIENCE_S", 10)
        patient = threading.Thread(target=write)
        patient.start()
    patient.join(10)
    assert stored == [True]


def test_a_write_within_a_write_is_a_mistake_that_is_told_at_once() -> None:
    lock = Turns()
    with lock, pytest.raises(RuntimeError, match="wait for itself"), lock:
        pass
