"""Another program beside the one that serves: what it opens and closes takes nothing away."""

import subprocess
import sys
from pathlib import Path

import pytest

from app.services.door import bring_in
from app.store.engine import Store
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import new_store

OPENED_AND_CLOSED = """
import sqlite3, sys
beside = sqlite3.connect(sys.argv[1])
beside.execute("SELECT count(*) FROM room").fetchone()
beside.close()
"""


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = new_store(tmp_path)
    furnish(store)
    return store


def test_who_closes_the_database_beside_it_does_not_take_its_log(store: Store) -> None:
    """SQLite removes the log with its last connection (https://www.sqlite.org/wal.html, 3.2): the
    one that serves has to count as one, however often it has looked at its own file."""
    assert store.watch is not None
    assert store.log is not None
    for day in (3, 2, 1):
        bring_in(store, ROOM, [wash(day)], NOW)
        store.look()
        subprocess.run(
            [sys.executable, "-c", OPENED_AND_CLOSED, str(store.watch.database)], check=True
        )
        assert store.log.exists()
    store.close()
