"""A lock, a full disk, a missing table, a database that takes no writes: said as what they are.

Every trouble is a real one, made from outside the program; the codes behind them are those of
https://www.sqlite.org/rescode.html and of PostgreSQL's documentation, appendix A.
"""

import errno
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, closing, contextmanager
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, event, make_url, text

from app.config import Settings
from app.main import create_app
from app.store import engine
from app.store.engine import Store
from app.web.planning import calendar
from tests.contracts.forms import forms_of
from tests.factories import NOW, ROOM, furnish

WASH = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 5}
FREE_SPACE = 200  # entries that fit at most into pages that a small database has already
PAGE, API = f"/rooms/{ROOM}", f"/api/v1/rooms/{ROOM}/entries"
FORM = f"{PAGE}/tanks/t1/log/wash"
Trouble = Callable[[Store], AbstractContextManager[None]]


@contextmanager
def room_at(folder: Path) -> Iterator[TestClient]:
    """A room on SQLite."""
    app = create_app(Settings(data_dir=folder), clock=lambda: NOW)
    furnish(app.state.store, tanks=1)
    with TestClient(app, base_url="http://room.test", raise_server_exceptions=False) as client:
        yield client


@pytest.fixture
def client(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """A room on SQLite that waits for nobody."""
    monkeypatch.setattr(engine, "PATIENCE_S", 0.1)
    with room_at(tmp_path) as client:
        yield client


@pytest.fixture
def on_server(tmp_path: Path, postgres_url: str) -> Iterator[TestClient]:
    """A room on PostgreSQL.

    It is as patient as ever. Each commit that tells the other servers of a room takes a lock of the
    whole database server (src/backend/commands/async.c), and so waits for the commits of others
    there: on a busy machine longer than somebody waits who waits for nobody.
    """
    # Nothing runs beside its requests: the tests throw its connections away, and one that is in use
    # at that moment would be closed by nobody.
    app = create_app(Settings(data_dir=tmp_path, database_url=postgres_url), clock=lambda: NOW)
    furnish(app.state.store, tanks=1)
    yield TestClient(app, base_url="http://room.test", raise_server_exceptions=False)
    app.state.store.close()


def store_of(client: TestClient) -> Store:
    return client.app.state.store  # type: ignore[attr-defined,no-any-return]


_lengths_min = count(1, 0.001)


def send(client: TestClient, path: str) -> Any:
    """A wash, by the form or by the API."""
    sent: dict[str, Any] = {"json": WASH}
    if path == FORM:  # each of another length: the same again would be asked about
        sent = {"data": WASH | {"minutes": f"{next(_lengths_min):.3f}"}}
    return client.post(path, follow_redirects=False, **sent)


def check(answer: Any, status: int, words: str) -> None:
    """The answer has that status and those words, on a page and for a program alike."""
    assert answer.status_code == status, answer.text
    said = answer.text
    if "/api/" in str(answer.url):
        assert answer.headers["content-type"] == "application/problem+json"  # RFC 9457
        assert answer.json()["status"] == status
        said = answer.json()["detail"]
    assert words in said
    assert "went wrong" not in said
    assert int(answer.headers["retry-after"]) > 0  # RFC 9110, section 10.2.3


# SQLite -------------------------------------------------------------------------------------------


def file_of(store: Store) -> str:
    return str(store.writer.url.database)


@contextmanager
def locked(store: Store) -> Iterator[None]:
    """Another program writes."""
    with closing(sqlite3.connect(file_of(store), isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        yield
        other.execute("ROLLBACK")


@contextmanager
def set_on_each(store: Store, *pragmas: str) -> Iterator[None]:
    """Connections that are made meanwhile are limited so."""

    def limit(connection: Any, _: Any) -> None:
        for pragma in pragmas:
            connection.execute(f"PRAGMA {pragma}")

    store.writer.dispose()
    event.listen(store.writer, "connect", limit)
    yield
    event.remove(store.writer, "connect", limit)
    store.writer.dispose()


def full(store: Store) -> AbstractContextManager[None]:
    """The database may not grow by a page (SQLITE_FULL)."""
    return set_on_each(store, "max_page_count=1", "cache_spill=0")


def read_only(store: Store) -> AbstractContextManager[None]:
    """Nothing may be written (SQLITE_READONLY)."""
    return set_on_each(store, "query_only=ON")


@contextmanager
def incomplete(store: Store) -> Iterator[None]:
    """A table is away."""
    with closing(sqlite3.connect(file_of(store))) as other:
        other.execute("ALTER TABLE room RENAME TO gone")
        yield
        other.execute("ALTER TABLE gone RENAME TO room")


@pytest.mark.parametrize("path", [FORM, API])
@pytest.mark.parametrize(
    "trouble, status, words",
    [
        (locked, 503, "The database is busy with other work. Try again in a few seconds."),
        (full, 507, "The disk is full."),
        (read_only, 503, "The database cannot be written"),
        (incomplete, 503, "The database lacks a table"),
    ],
)
def test_what_keeps_an_entry_from_being_stored_is_said_and_passes(
    client: TestClient, path: str, trouble: Trouble, status: int, words: str
) -> None:
    with trouble(store_of(client)):
        stored = 0
        while send(client, path).status_code in (201, 303):
            stored += 1
            assert stored < (FREE_SPACE if trouble is full else 1)
        for _ in range(3):
            answer = send(client, path)
            check(answer, status, words)
            assert "Nothing was stored." in answer.text
    assert send(client, path).status_code in (201, 303)


def test_a_form_that_could_not_be_stored_is_kept_and_sent_again_by_one_touch(
    client: TestClient,
) -> None:
    typed = {"resin": "slate", "parts": "7", "note": 'a "note"\nof two lines', "submission": "s1"}
    with locked(store_of(client)):
        busy = client.post(FORM, data=typed)
    assert busy.status_code == 503
    assert "What you typed is kept on this page." in busy.text
    [form] = [one for one in forms_of(busy.text, FORM) if one.action == FORM]
    again = client.post(form.action, data=form.sent({}), follow_redirects=False)
    assert again.status_code == 303
    entry = client.get(f"{API}?kind=wash").json()["entries"][0]["entry"]
    assert (entry["parts"], entry["note"]) == (7, typed["note"])


@pytest.mark.parametrize("path", ["/", "/rooms", PAGE, "/api/v1/rooms", f"/api/v1/rooms/{ROOM}"])
def test_a_missing_table_is_said_by_what_only_reads(client: TestClient, path: str) -> None:
    with incomplete(store_of(client)):
        answer = client.get(path)
        check(answer, 503, "The database lacks a table")
        assert "Nothing was stored" not in answer.text
    assert client.get(path).status_code == 200


@pytest.mark.parametrize("path", [PAGE, f"/api/v1/rooms/{ROOM}"])
def test_a_damaged_database_is_said(client: TestClient, path: str) -> None:
    store = store_of(client)
    with closing(sqlite3.connect(file_of(store))) as other:
        other.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    store.close()
    size = Path(file_of(store)).stat().st_size
    with Path(file_of(store)).open("r+b") as file:
        file.seek(4096)
        file.write(b"\xa5" * (size - 4096))
    check(client.get(path), 503, "The database is damaged.")


# PostgreSQL ---------------------------------------------------------------------------------------


@contextmanager
def beside(store: Store, *before: str, after: str = "") -> Iterator[None]:
    """What somebody else says to the same database, before and after."""
    other = create_engine(store.writer.url, isolation_level="AUTOCOMMIT")
    with other.connect() as connection:
        for command in before:
            connection.execute(text(command))
        store.writer.dispose()
        yield
        if after:
            connection.execute(text(after))
    other.dispose()
    store.writer.dispose()


@contextmanager
def locked_on_server(store: Store) -> Iterator[None]:
    """Somebody else changes the room and does not come to an end (55P03), while nobody waits."""

    def hurry(connection: Any, _: Any) -> None:
        connection.execute("SET lock_timeout = 100")
        connection.commit()

    other = create_engine(store.writer.url)
    event.listen(store.writer, "connect", hurry)
    store.writer.dispose()
    with other.begin() as connection:
        connection.execute(text("SELECT * FROM room FOR UPDATE"))
        yield
    event.remove(store.writer, "connect", hurry)
    store.writer.dispose()
    other.dispose()


def incomplete_on_server(store: Store) -> AbstractContextManager[None]:
    """A table is away (42P01)."""
    return beside(store, "ALTER TABLE room RENAME TO gone", after="ALTER TABLE gone RENAME TO room")


def read_only_on_server(store: Store) -> AbstractContextManager[None]:
    """The database takes no writes (25006)."""
    name = store.writer.url.database
    return beside(
        store,
        f"ALTER DATABASE {name} SET default_transaction_read_only = on",
        after=f"ALTER DATABASE {name} RESET default_transaction_read_only",
    )


@pytest.mark.parametrize("path", [FORM, API])
@pytest.mark.parametrize(
    "trouble, words",
    [
        (locked_on_server, "The database is busy with other work. Try again in a few seconds."),
        (incomplete_on_server, "The database lacks a table"),
        (read_only_on_server, "The database cannot be written"),
    ],
)
def test_what_keeps_a_server_from_storing_is_said_and_passes(
    on_server: TestClient, path: str, trouble: Trouble, words: str
) -> None:
    with trouble(store_of(on_server)):
        for _ in range(3):
            check(send(on_server, path), 503, words)
    assert send(on_server, path).status_code in (201, 303)


@pytest.mark.parametrize("path", [PAGE, f"/api/v1/rooms/{ROOM}"])
def test_a_server_that_is_away_is_said(on_server: TestClient, path: str) -> None:
    store = store_of(on_server)
    url = make_url(str(store.writer.url))
    nowhere = Store(url.set(port=1).render_as_string(hide_password=False))
    on_server.app.state.store = nowhere  # type: ignore[attr-defined]
    check(on_server.get(path), 503, "The database does not answer.")
    nowhere.close()
    on_server.app.state.store = store  # type: ignore[attr-defined]
    assert on_server.get(path).status_code == 200


# Beside the database ------------------------------------------------------------------------------


def test_a_disk_that_is_full_when_a_file_is_kept_is_said(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def no_space(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "mkdir", no_space)
    file = {"log": ("log.jsonl", b'{"kind":"wash"}\n')}
    answer = client.post(f"{PAGE}/import", files=file)
    check(answer, 507, "The disk is full.")
    assert "Nothing was stored." in answer.text


def test_after_a_mistake_of_the_program_the_connection_is_there_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def mistaken(*_: object) -> None:
        raise ValueError("a mistake")

    monkeypatch.setattr(engine, "CONNECTIONS", 1)
    monkeypatch.setattr(engine, "KEPT_OPEN", 1)
    monkeypatch.setattr(engine, "PATIENCE_S", 0.1)
    with room_at(tmp_path) as client:
        with monkeypatch.context() as broken:
            broken.setattr(calendar, "ahead", mistaken)
            for _ in range(3):
                assert client.get(f"{PAGE}/plan").status_code == 500
        assert client.get(f"{PAGE}/plan").status_code == 200
        assert store_of(client).reader.pool.checkedout() == 0  # type: ignore[attr-defined]
