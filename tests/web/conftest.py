"""A client of the pages on a furnished room, at an instant that stands still."""

import logging
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from app import logged
from app.config import Settings
from app.main import create_app
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.clocks import Clock
from tests.connections import watched
from tests.factories import NOW, furnish
from tests.furnished import prepare


@pytest.fixture
def clock() -> Clock:
    """The server's clock."""
    return Clock()


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A browser without scripts, on a room with two tanks."""
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), clock=lambda: NOW)
    furnish(app.state.store, tanks=2)
    with watched(app), TestClient(app, base_url="http://room.test") as client:
        yield client


@pytest.fixture
def store(client: TestClient) -> Store:
    """The database behind the client."""
    return client.app.state.store  # type: ignore[attr-defined]


@pytest.fixture
def log_as_before() -> Iterator[None]:
    """Whatever a test makes of the process's log is undone after it."""
    root, own = logging.getLogger(), logging.getLogger(logged.__name__)
    kept, levels = root.handlers[:], (root.level, own.level)
    yield
    for handler in root.handlers:
        if handler not in kept:
            handler.close()
    root.handlers[:] = kept
    root.setLevel(levels[0])
    own.setLevel(levels[1])


def entries_of(store: Store, kind: str = "") -> list[EntryRow]:
    """The entries of the database, or those of a kind, in the order in which they came."""
    with Session(store.reader) as session:
        rows = session.exec(select(EntryRow).order_by(col(EntryRow.id))).all()
    return [row for row in rows if kind in ("", row.kind)]
