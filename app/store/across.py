"""Several servers on one PostgreSQL database: word of a change, and work that one of them does.

Word goes by NOTIFY within the transaction of the change: others hear of it once it stands, and
never of what was rolled back, also where the server that stored it ends at that moment. What nobody
heard while a server was cut off is made good by telling all of its pages as soon as it hears again.
"""

import logging
import secrets
import threading
import zlib
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from typing import Any

from sqlalchemy import Connection, text
from sqlmodel import Session

from app.store.engine import Store

CHANNEL = "bathkeeper"
AGAIN_S = 1.0
LISTENS_FOR_S = 1.0  # at a stretch: then it looks whether the program ends
ASKS_EVERY = 10  # stretches: a connection that is cut says nothing by itself
_OURS = 0x62617468  # the first half of advisory locks: those of this program
_KEEPALIVE = {
    "keepalives": 1, "keepalives_idle": 5, "keepalives_interval": 5, "keepalives_count": 2,
    "connect_timeout": 5,
}  # fmt: skip
_ME = secrets.token_hex(8)
_log = logging.getLogger(__name__)

Hear = Callable[[str | None], None]


def tell(session: Session, store: Store, room: str) -> None:
    """Let the other servers hear that a room has changed, once this transaction stands."""
    if not store.is_sqlite:
        _notify(session.connection(), room)


def tell_now(store: Store, room: str) -> None:
    """Let all pages of a room read anew, those of other servers too."""
    if not store.is_sqlite:
        with store.writer.begin() as connection:
            _notify(connection, room)
    store.announce(room)


def _notify(connection: Connection, room: str) -> None:
    word = {"channel": CHANNEL, "word": f"{_ME} {room}"}
    connection.execute(text("SELECT pg_notify(:channel, :word)"), word)


def listen(store: Store, hear: Hear, is_over: threading.Event) -> None:
    """Hear of the changes of other servers until it is over; None stands for any room.

    A connection that breaks is opened again, as often as it takes.
    """
    is_told = False
    while not is_over.is_set():
        try:
            with closing(_connected(store)) as connection:
                connection.execute(f"LISTEN {CHANNEL}")
                hear(None)  # what was told meanwhile, nobody heard
                is_told = False
                _listen(connection, hear, is_over)
        except Exception as error:
            if not is_told and not is_over.is_set():
                _log.warning("Changes of other servers are not heard for now: %s", error)
            is_told = True
            is_over.wait(AGAIN_S)


def _connected(store: Store) -> Any:
    import psycopg  # noqa: PLC0415  (a start on SQLite does without)

    words, named = store.writer.dialect.create_connect_args(store.writer.url)
    return psycopg.connect(*words, **{**_KEEPALIVE, **named}, autocommit=True)


def _listen(connection: Any, hear: Hear, is_over: threading.Event) -> None:
    stretch = 0
    while not is_over.is_set():
        for notice in connection.notifies(timeout=LISTENS_FOR_S):
            sender, _, room = notice.payload.partition(" ")
            if sender != _ME:
                hear(room)
            if is_over.is_set():
                return
        stretch += 1
        if stretch % ASKS_EVERY == 0:
            connection.execute("SELECT 1")


@contextmanager
def on_one_server(store: Store, work: str) -> Iterator[bool]:
    """Whether this server does some work in the background: not while another one is at it."""
    if store.is_sqlite:
        yield True
        return
    held = store.writer.execution_options(isolation_level="AUTOCOMMIT")
    with held.connect() as connection:
        key = {"ours": _OURS, "work": _number_of(work)}
        is_mine = connection.scalar(text("SELECT pg_try_advisory_lock(:ours, :work)"), key)
        try:
            yield bool(is_mine)
        finally:
            if is_mine:
                connection.execute(text("SELECT pg_advisory_unlock(:ours, :work)"), key)


def hold_against_others(connection: Connection, work: str) -> None:
    """Wait until no other server is at some work; until this transaction ends, none begins it."""
    if connection.dialect.name == "postgresql":
        key = {"ours": _OURS, "work": _number_of(work)}
        connection.execute(text("SET LOCAL lock_timeout = 0"))
        connection.execute(text("SELECT pg_advisory_xact_lock(:ours, :work)"), key)


def _number_of(work: str) -> int:
    return zlib.crc32(work.encode()) - 2**31
