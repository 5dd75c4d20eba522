"""Sessions: a request holds one connection at most, and none while it waits for another.

A session takes a connection from the pool with its first query and gives it back when it is
closed; it can be used again after that. If those who hold a connection could wait for a second
one, a pool full of them would stand still. So whoever opens a session while another one of the
same request is open makes that one give its connection back first. What was read stays readable.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from sqlmodel import Session

from app.store.engine import Store
from app.store.remembering import RememberingSession, WritingSession

_open: ContextVar[Session | None] = ContextVar("open session", default=None)


@contextmanager
def reading(store: Store) -> Iterator[Session]:
    """A session for reading, its connection taken with the first query.

    Raises:
        FileChanged: the files of the database are not the ones that were opened.
    """
    store.look()
    kind = RememberingSession if store.is_sqlite else Session
    yield from _only(kind(store.reader))


@contextmanager
def writing(store: Store) -> Iterator[Session]:
    """A session for one write transaction, which the caller commits; `store.lock` is held.

    Raises:
        FileChanged: what was committed is not in the files of the database.
    """
    give_back()
    with store.lock:
        store.look()
        yield from _only(WritingSession(store.writer, expire_on_commit=False))
        store.tidy()
        store.committed()


def give_back() -> None:
    """Give the connection of the request's reads back; they may go on, on another one."""
    if (session := _open.get()) is not None:
        session.close()


def _only(session: Session) -> Iterator[Session]:
    give_back()
    outer = _open.set(session)
    try:
        with session:
            yield session
    finally:
        _open.reset(outer)
