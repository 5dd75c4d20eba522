"""Opening the database: SQLite in the data folder, or PostgreSQL by its address.

SQLite runs in WAL mode with full synchronisation, one writer at a time: a write transaction takes
its lock at the start (BEGIN IMMEDIATE), since a read that is upgraded to a write half way would
fail, or silently lose an update.
"""

import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.pool import QueuePool

from app.domain.errors import DomainError

Listener = Callable[[str], None]


class Store:
    """An open database.

    Attributes:
        writer: engine of write transactions; `lock` is held around each of them.
        reader: engine of reads, which never wait for a writer.
        listeners: called with the key of a room after each commit that changed it.
        states: what services keep between transactions, by room id.
    """

    def __init__(self, url: str) -> None:
        self.is_sqlite = make_url(url).get_backend_name() == "sqlite"
        self.writer = _sqlite_engine(url, "IMMEDIATE") if self.is_sqlite else _server_engine(url)
        self.reader = _sqlite_engine(url, "DEFERRED") if self.is_sqlite else self.writer
        self.lock = threading.RLock()
        self.listeners: list[Listener] = []
        self.states: dict[int, Any] = {}

    def announce(self, room: str) -> None:
        """Tell everyone who listens that a room has changed."""
        for listener in list(self.listeners):
            listener(room)

    def close(self) -> None:
        """Give back all connections."""
        self.writer.dispose()
        self.reader.dispose()


def open_store(url: str) -> Store:
    """Open the database; the folder of an embedded one is made.

    Raises:
        DomainError: the folder cannot be written.
    """
    database = make_url(url).database
    if make_url(url).get_backend_name() == "sqlite" and database:
        try:
            Path(database).parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise DomainError(f"The data folder cannot be made: {error}.") from error
    return Store(url)


def _sqlite_engine(url: str, begin: str) -> Engine:
    engine = create_engine(
        url,
        poolclass=QueuePool,
        pool_size=8,
        max_overflow=32,
        connect_args={"check_same_thread": False, "timeout": 15},
    )

    @event.listens_for(engine, "connect")
    def connected(connection: Any, _: Any) -> None:
        # The driver must not begin transactions of its own; `begun` below does.
        connection.isolation_level = None
        for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("PRAGMA cache_size=-32000")

    @event.listens_for(engine, "begin")
    def begun(connection: Any) -> None:
        connection.exec_driver_sql(f"BEGIN {begin}")

    return engine


def _server_engine(url: str) -> Engine:
    return create_engine(url, pool_size=8, max_overflow=32, pool_pre_ping=True)
