"""Opening the database: SQLite in the data folder, or PostgreSQL by its address.

SQLite runs in WAL mode with full synchronisation, one writer at a time: a write transaction takes
its lock at the start (BEGIN IMMEDIATE), since a read that is upgraded to a write half way would
fail, or silently lose an update. What is committed lies in a log file (`-wal`) until SQLite has
moved it into the database, which it cannot do past what a reader still looks at.
"""

import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import SQLAlchemyError
from sqlalchemy.pool import QueuePool

from app.domain.errors import DomainError
from app.store.examination import examine, mark_in_use
from app.store.files import APPLICATION_ID
from app.store.remembering import forget_at_writes
from app.store.turns import Turns
from app.store.watching import Watch

Listener = Callable[[str], None]

# One connection a request, requests being served by 40 threads; a few for work in the background.
CONNECTIONS, KEPT_OPEN = 48, 8
PATIENCE_S = 15
SYNCHRONOUS = "FULL"
"""How far a commit is on the disk before it is acknowledged: on it."""
LOG_BYTES = 6 * 2**20  # half more than what SQLite's own checkpoints, each 1000 pages, leave
READERS_WITHIN_MS = 200


class Store:
    """An open database.

    Attributes:
        writer: engine of write transactions; `lock` is held around each of them.
        reader: engine of reads, which never wait for a writer. Sessions: `store.sessions`.
        listeners: called with the key of a room after each commit that changed it.
        states: what services keep between transactions, by room id.
        makes_forecasts_soon: this program makes forecasts after the entries that they follow from;
            otherwise they are made with them.
    """

    makes_forecasts_soon = False

    def __init__(self, url: str, *, is_only_read: bool = False) -> None:
        self.is_sqlite = make_url(url).get_backend_name() == "sqlite"
        path = file_of(url)
        if is_only_read and path is not None:
            self._only_read(path)
            return
        self.watch = Watch(path) if path else None
        self.writer = _sqlite_engine(url, "IMMEDIATE") if self.is_sqlite else _server_engine(url)
        self.reader = _sqlite_engine(url, "DEFERRED") if self.is_sqlite else self.writer
        if self.watch:
            _count_transactions(self.writer, self.watch)
        self.lock = Turns()
        self.log = _log_of(url) if self.is_sqlite else None
        self._log_allowed_bytes = LOG_BYTES
        self.listeners: list[Listener] = []
        self.states: dict[int, Any] = {}

    def _only_read(self, path: Path) -> None:
        """Open an embedded database so that nothing in its folder is touched, its log included.

        A connection that may write moves the log into the database when it is closed as the last
        one; a program beside it that serves would have lost its log.
        """
        self.watch = self.log = None
        self.reader = self.writer = _sqlite_engine("sqlite://", "DEFERRED", path)
        self.lock, self.listeners, self.states = Turns(), [], {}
        self._log_allowed_bytes = LOG_BYTES

    def announce(self, room: str) -> None:
        """Tell everyone who listens that a room has changed."""
        for listener in list(self.listeners):
            listener(room)

    def mark_in_use(self) -> None:
        """Note beside an embedded database that there is one."""
        if self.watch:
            mark_in_use(self.watch.database)

    def look(self) -> None:
        """See that an embedded database is still the one that was opened.

        Raises:
            FileChanged: it is not.
        """
        if self.watch:
            self.watch.look()

    def committed(self) -> None:
        """See that what was committed is in the files, before it is acknowledged.

        Raises:
            FileChanged: it is not.
        """
        if self.watch:
            try:
                self.watch.committed()
            except BaseException:
                self.states.clear()  # they are of what was not stored
                raise

    def tidy(self) -> None:
        """Empty SQLite's log file where it has grown; called between write transactions.

        SQLite does so by itself at a commit, but only while nobody reads. This waits a moment
        for the reads under way; where they take longer, or the disk fails, it is tried again
        later: what was committed stands either way.
        """
        size_bytes = self.log.stat().st_size if self.log and self.log.exists() else 0
        if size_bytes <= self._log_allowed_bytes:
            return
        self._log_allowed_bytes = size_bytes + LOG_BYTES // 4
        with suppress(sqlite3.Error, SQLAlchemyError), closing(self.writer.raw_connection()) as own:
            cursor = own.cursor()
            cursor.execute(f"PRAGMA busy_timeout={READERS_WITHIN_MS}")
            is_busy = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()[0]
            cursor.execute(f"PRAGMA busy_timeout={round(1000 * PATIENCE_S)}")
            if not is_busy:
                self._log_allowed_bytes = LOG_BYTES

    def close(self) -> None:
        """Give back all connections."""
        self.writer.dispose()
        self.reader.dispose()
        if self.watch:
            self.watch.close()


def open_store(url: str) -> Store:
    """Open the database; the folder of an embedded one is made.

    Raises:
        DomainError: the folder cannot be written, or what is in it cannot be used.
    """
    if database := file_of(url):
        try:
            database.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise DomainError(f"The data folder cannot be made: {error}.") from error
        examine(database)
    return Store(url)


def open_to_read(url: str) -> Store:
    """Open a database that is there, in which nothing is changed.

    Raises:
        DomainError: what is there cannot be used.
    """
    if database := file_of(url):
        examine(database)
    return Store(url, is_only_read=True)


def file_of(url: str) -> Path | None:
    """The main file of an embedded database, None for another kind of database."""
    address = make_url(url)
    is_file = address.get_backend_name() == "sqlite" and address.database not in (None, ":memory:")
    return Path(address.database or "") if is_file else None


def _sqlite_engine(url: str, begin: str, only_read: Path | None = None) -> Engine:
    more: dict[str, Any] = {"connect_args": {"check_same_thread": False, "timeout": PATIENCE_S}}
    if only_read is not None:
        address = f"{only_read.absolute().as_uri()}?mode=ro"
        more = {"creator": lambda: sqlite3.connect(
            address, uri=True, check_same_thread=False, timeout=PATIENCE_S
        )}  # fmt: skip
    engine = create_engine(
        url,
        poolclass=QueuePool,
        pool_size=KEPT_OPEN,
        max_overflow=CONNECTIONS - KEPT_OPEN,
        pool_timeout=PATIENCE_S,
        hide_parameters=True,  # what is typed, and digests of PINs, are in no message of an error
        **more,
    )

    @event.listens_for(engine, "connect")
    def connected(connection: Any, _: Any) -> None:
        # The driver must not begin transactions of its own; `begun` below does.
        connection.isolation_level = None
        if only_read is not None:
            return
        for pragma in ("journal_mode=WAL", f"synchronous={SYNCHRONOUS}", "foreign_keys=ON"):
            connection.execute(f"PRAGMA {pragma}")
        connection.execute("PRAGMA cache_size=-32000")
        connection.execute(f"PRAGMA journal_size_limit={LOG_BYTES}")

    @event.listens_for(engine, "begin")
    def begun(connection: Any) -> None:
        connection.exec_driver_sql(f"BEGIN {begin}")

    forget_at_writes(engine)
    return engine


def _count_transactions(engine: Engine, watch: Watch) -> None:
    """Number the write transactions in the file, once it is seen to be the one that was opened."""

    @event.listens_for(engine, "begin")
    def begun(connection: Any) -> None:
        count = connection.exec_driver_sql("PRAGMA user_version").scalar()
        connection.exec_driver_sql(f"PRAGMA user_version={watch.begin(count)}")
        if count == 0:
            connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")


def _log_of(url: str) -> Path | None:
    database = make_url(url).database
    return Path(f"{database}-wal") if database else None


def _server_engine(url: str) -> Engine:
    engine = create_engine(
        url,
        pool_size=KEPT_OPEN,
        max_overflow=CONNECTIONS - KEPT_OPEN,
        pool_timeout=PATIENCE_S,
        pool_pre_ping=True,
        hide_parameters=True,
        connect_args={"options": f"-c lock_timeout={round(1000 * PATIENCE_S)}"},
    )
    forget_at_writes(engine)
    return engine
