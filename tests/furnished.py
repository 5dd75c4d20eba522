"""Databases that are made once and copied: for each test, and from one worker to the others."""

import os
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import cache
from pathlib import Path

from app.installation.turn import try_lock
from app.services.demo import load_demo
from app.store.engine import Store, open_store
from app.store.migrations import upgrade

NAME = "bathkeeper.sqlite3"
SHARED = "BATHKEEPER_TESTS_SHARED"
"""Variable that names the folder of what all workers of a run share, removed at its end."""


def shared_folder() -> Path:
    """Where this run keeps what is made once for all its workers."""
    return Path(os.environ.get(SHARED) or _own_folder())


@cache
def _own_folder() -> str:
    return tempfile.mkdtemp(prefix="bathkeeper-tests-")


def made_once(name: str, make: Callable[[Path], None]) -> Path:
    """The folder of this name: `make` fills it in the worker that asks first; others wait."""
    made = shared_folder() / name
    with _alone(shared_folder() / f"{name}.lock"):
        if not made.exists():
            unfinished = Path(tempfile.mkdtemp(dir=shared_folder()))
            make(unfinished)
            unfinished.rename(made)
    return made


@contextmanager
def _alone(path: Path) -> Iterator[None]:
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
    try:
        while not try_lock(descriptor):
            time.sleep(0.02)
        yield
    finally:
        os.close(descriptor)


def new_store(folder: Path) -> Store:
    """An empty database in a folder."""
    prepare(folder)
    store = open_store(f"sqlite:///{folder / NAME}")
    store.mark_in_use()
    return store


def prepare(folder: Path) -> None:
    """Put an empty database in its newest form into a folder, for a program to open."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / NAME).write_bytes(_empty())


def fill(store: Store, name: str, make: Callable[[Store], None]) -> None:
    """Bring an empty database to what `make` makes: made by the first who asks, then copied.

    A database that is not the empty one of `new_store` or `prepare` is filled by `make` itself.
    """
    if not _is_empty(store):
        make(store)
        return
    assert store.watch is not None
    content = (made_once(name, lambda folder: _make(folder, make)) / NAME).read_bytes()
    store.close()  # what is open has read the empty one
    with store.watch.database.open("r+b") as file:
        file.write(content)


def fill_with_demo(store: Store, now: datetime) -> None:
    """Bring an empty database to the demo room as it is at an instant."""
    fill(store, f"demo-{now:%Y%m%dT%H%M%S}", lambda empty: load_demo(empty, now))


def _make(folder: Path, make: Callable[[Store], None]) -> None:
    store = new_store(folder)
    make(store)
    store.close()


@cache
def _empty() -> bytes:
    """An SQLite database in its newest form, without a room."""
    return (made_once("empty", _migrate) / NAME).read_bytes()


def _migrate(folder: Path) -> None:
    store = open_store(f"sqlite:///{folder / NAME}")
    upgrade(store)
    store.close()


def _is_empty(store: Store) -> bool:
    if store.watch is None:
        return False
    database = store.watch.database
    log = database.with_name(f"{database.name}-wal")
    has_log = log.exists() and log.stat().st_size > 0
    return not has_log and database.read_bytes() == _empty()
