"""SQLite's log file stays small, whatever reads meanwhile (https://www.sqlite.org/wal.html)."""

import sqlite3
from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest
from sqlmodel import Session, select

from app.services.door import bring_in
from app.store import engine
from app.store.engine import Store
from app.store.tables import RoomRow
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import new_store

LIMIT_BYTES = 300_000


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """A small room whose log file may hardly increase."""
    monkeypatch.setattr(engine, "LOG_BYTES", LIMIT_BYTES)
    monkeypatch.setattr(engine, "READERS_WITHIN_MS", 10)
    store = new_store(tmp_path)
    furnish(store)
    yield store
    store.close()


def log_bytes(store: Store) -> int:
    assert store.log is not None
    return store.log.stat().st_size


def fill(store: Store, until_bytes: int) -> None:
    """Write until the log file is that large."""
    for number in range(500):
        if log_bytes(store) > until_bytes:
            return
        days = [13 - number / 50 - part / 1000 for part in range(20)]
        bring_in(store, ROOM, [wash(day) for day in days], NOW)
    raise AssertionError(f"It stays at {log_bytes(store)} bytes.")


def test_a_reader_that_stays_stops_no_writer_and_the_log_is_emptied_once_it_has_left(
    store: Store,
) -> None:
    with Session(store.reader) as session:
        session.exec(select(RoomRow)).all()
        fill(store, 3 * LIMIT_BYTES)
    fill_up = log_bytes(store)
    for number in range(200):
        bring_in(store, ROOM, [wash(number / 1000)], NOW)
        if log_bytes(store) <= LIMIT_BYTES:
            break
    assert log_bytes(store) <= LIMIT_BYTES < fill_up


def test_what_was_committed_stands_where_the_log_cannot_be_emptied(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    connect, calls = store.writer.raw_connection, count()

    def fails_for_the_log() -> object:
        if next(calls):  # the first one is the transaction's
            raise sqlite3.OperationalError("disk I/O error")
        return connect()

    store._log_allowed_bytes = 0
    monkeypatch.setattr(store.writer, "raw_connection", fails_for_the_log)
    bring_in(store, ROOM, [wash(1, id="kept")], NOW)
    with Session(store.reader) as session:
        assert session.exec(select(RoomRow)).one().sequence == 4
    assert next(calls) == 2


def test_a_commit_is_on_the_disk_before_it_is_acknowledged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, synchronous: str
) -> None:
    """2 is FULL: in WAL mode each commit is synced (https://www.sqlite.org/pragma.html)."""
    monkeypatch.setattr(engine, "SYNCHRONOUS", synchronous)
    store = new_store(tmp_path)
    for one in (store.writer, store.reader):
        with one.connect() as connection:
            assert connection.exec_driver_sql("PRAGMA synchronous").scalar() == 2
    store.close()
