"""Where the files of photos lie: a folder of this machine, or an object storage (S3) by fsspec.

Both keep a file whole or not at all, and say so only once it is kept. A storage that is away, slow
or refuses is said as `Unavailable`, in words: it is never taken for a file that is not there, since
what is not there is drawn anew or called lost.
"""

import logging
import os
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from tempfile import NamedTemporaryFile
from typing import Any, Protocol

from app.config import NO_STORAGE_LIBRARY, PhotoStorage
from app.domain.errors import DomainError, Unavailable

_log = logging.getLogger(__name__)
LEFT_OVER_S = 3600
READ_WITHIN_S, WRITE_WITHIN_S = 10.0, 30.0
BEGIN_WITHIN_S = 60.0
"""The library makes its client once: work for the processor, not a wait for the storage."""
CONNECT_WITHIN_S = 3.0
AT_ONCE = 8
"""Requests to the storage: a slow one holds no more of the server's threads than these."""
WAIT_FOR_TURN_S = 5.0
LET_BE_S = 5.0
"""After it did not answer, the storage is asked nothing for so long: pages must not wait for it."""
REMEMBERED, REMEMBERED_S = 20_000, 60.0
AWAY = "The photo storage does not answer. Try again in a minute. If it stays away, check it."
REFUSED = "The photo storage refuses this program. Check its address and its keys."
HALF = "The photo storage kept only part of a file. Try again, and check the storage."
_PROBE = ".clock"


class Files(Protocol):
    """Files by their names, such as `ab/abcd-view.jpg`."""

    @property
    def place(self) -> str:
        """What tells this place from another one."""

    @property
    def may_misread(self) -> bool:
        """Whether a read may go wrong on its way, while the file is sound."""

    def read(self, name: str) -> bytes | None:
        """The content; None where there is no such file."""

    def write(self, name: str, content: bytes) -> None:
        """Keep a file, whole or not at all, before this ends; what was there is replaced."""

    def size(self, name: str) -> int:
        """How many bytes; 0 where there is no such file."""

    def exists(self, name: str) -> bool:
        """Whether anything lies there, be it empty."""

    def age_s(self, name: str) -> float | None:
        """How long ago it was written, by the place's own clock; None where it is not there."""

    def is_begun(self) -> bool:
        """Whether there is a place at all: a folder is made with its first file."""

    def names(self) -> Iterator[str]:
        """All names but hidden ones, in their order."""

    def rename(self, name: str, to: str) -> None:
        """Call a file something else; nothing happens where it is not there."""

    def remove(self, name: str) -> None:
        """Delete a file; nothing happens where it is not there."""

    def sweep(self) -> int:
        """Delete what was left half written long ago; how many files."""


class LocalFiles:
    """Files in a folder, on the disk before a write ends."""

    may_misread = False

    def __init__(self, root: Path) -> None:
        self.root = root

    @property
    def place(self) -> str:
        """The folder."""
        return str(self.root.resolve())

    def read(self, name: str) -> bytes | None:
        """The content; None where there is no such file."""
        try:
            return (self.root / name).read_bytes()
        except FileNotFoundError:
            return None

    def write(self, name: str, content: bytes) -> None:
        """Keep a file, whole or not at all, before this ends; what was there is replaced."""
        path = self.root / name
        is_new = not path.parent.exists()
        path.parent.mkdir(parents=True, exist_ok=True)
        beside = path.with_name(f".{uuid.uuid4().hex}")
        try:
            with beside.open("wb") as file:
                file.write(content)
                file.flush()
                os.fsync(file.fileno())
            beside.replace(path)
        finally:
            beside.unlink(missing_ok=True)
        sync_folder(path.parent)
        if is_new:
            sync_folder(self.root)
            sync_folder(self.root.parent)

    def size(self, name: str) -> int:
        """How many bytes; 0 where there is no such file."""
        try:
            return (self.root / name).stat().st_size
        except FileNotFoundError:
            return 0

    def exists(self, name: str) -> bool:
        """Whether anything lies there, be it empty."""
        return (self.root / name).exists()

    def is_begun(self) -> bool:
        """Whether the folder is there: it is made with its first file."""
        return self.root.is_dir()

    def age_s(self, name: str) -> float | None:
        """How long ago it was written, by the place's own clock; None where it is not there."""
        path = self.root / name
        return self._clock_s() - path.stat().st_mtime if path.exists() else None

    def names(self) -> Iterator[str]:
        """All names but hidden ones, in their order."""
        for folder in sorted(self.root.glob("??")):
            for path in sorted(folder.iterdir()):
                if not path.name.startswith("."):
                    yield f"{folder.name}/{path.name}"

    def rename(self, name: str, to: str) -> None:
        """Call a file something else; nothing happens where it is not there."""
        path = self.root / name
        if path.exists():
            path.replace(self.root / to)

    def remove(self, name: str) -> None:
        """Delete a file; nothing happens where it is not there."""
        (self.root / name).unlink(missing_ok=True)

    def sweep(self) -> int:
        """Delete what was left half written long ago; how many files."""
        if not self.root.is_dir():
            return 0
        latest_s = self._clock_s() - LEFT_OVER_S
        found = [path for path in self.root.glob("??/.*") if path.stat().st_mtime < latest_s]
        for path in found:
            path.unlink(missing_ok=True)
        return len(found)

    def _clock_s(self) -> float:
        """The folder's own clock, which all servers share."""
        with NamedTemporaryFile(dir=self.root) as new:
            return Path(new.name).stat().st_mtime


class StoredFiles:
    """Files in an object storage, which keeps an object whole or not at all.

    After each write the storage is asked how much it has of it. Each request has an end, only so
    many run at once, and a storage that did not answer is let be for some seconds.
    """

    may_misread = True

    def __init__(self, storage: PhotoStorage, steady_s: Callable[[], float] | None = None) -> None:
        self._steady_s = steady_s or time.monotonic
        self._files = _file_system(storage)
        self._root = self._files._strip_protocol(storage.address).rstrip("/")
        self.place = f"{storage.address.rstrip('/')} {storage.endpoint}".strip()
        self._turns = threading.BoundedSemaphore(AT_ONCE)
        self._away_until_s = 0.0
        self._known: dict[str, tuple[int, float]] = {}
        self._has_begun = not hasattr(self._files, "set_session")

    def read(self, name: str) -> bytes | None:
        """The content; None where there is no such file."""
        content: bytes | None = self._ask(READ_WITHIN_S, "cat_file", self._at(name))
        return content

    def write(self, name: str, content: bytes) -> None:
        """Keep a file, whole or not at all, before this ends; what was there is replaced."""
        self._known.pop(name, None)
        if self._ask(WRITE_WITHIN_S, "pipe_file", self._at(name), content, none=_NONE) is _NONE:
            raise Unavailable(REFUSED)  # there is no such bucket
        if (kept := self.size(name)) != len(content):
            _log.warning("The photo storage has %s of %s bytes of %s.", kept, len(content), name)
            self._known.pop(name, None)
            self.remove(name)
            raise Unavailable(HALF)

    def size(self, name: str) -> int:
        """How many bytes; 0 where there is no such file. What is there is known for a while."""
        now_s = self._steady_s()
        known, until_s = self._known.get(name, (0, 0.0))
        if now_s < until_s:
            return known
        found = self._info(name)
        size = int(found["size"]) if found else 0
        if size:
            if len(self._known) >= REMEMBERED:
                self._known.clear()
            self._known[name] = size, now_s + REMEMBERED_S
        return size

    def exists(self, name: str) -> bool:
        """Whether anything lies there, be it empty."""
        return self._info(name) is not None

    def is_begun(self) -> bool:
        """A storage is always there."""
        return True

    def age_s(self, name: str) -> float | None:
        """How long ago it was written, by the place's own clock; None where it is not there."""
        found = self._info(name)
        if found is None:
            return None
        self.write(_PROBE, uuid.uuid4().hex.encode())
        now = self._info(_PROBE)
        self.remove(_PROBE)
        if now is None:
            raise Unavailable(AWAY)
        age_s: float = (_written_at(now) - _written_at(found)).total_seconds()
        return age_s

    def names(self) -> Iterator[str]:
        """All names but hidden ones, in their order."""
        top = self._ask(READ_WITHIN_S, "ls", self._root, detail=False) or []
        for folder in sorted(one.rstrip("/").rsplit("/", 1)[-1] for one in top):
            if len(folder) != 2:
                continue
            for path in sorted(self._ask(WRITE_WITHIN_S, "find", self._at(folder)) or []):
                name = path.rsplit("/", 1)[-1]
                if not name.startswith("."):
                    yield f"{folder}/{name}"

    def rename(self, name: str, to: str) -> None:
        """Call a file something else; nothing happens where it is not there."""
        if (content := self.read(name)) is not None:
            self.write(to, content)
            self.remove(name)

    def remove(self, name: str) -> None:
        """Delete a file; nothing happens where it is not there."""
        self._known.pop(name, None)
        self._ask(READ_WITHIN_S, "rm_file", self._at(name))

    def sweep(self) -> int:
        """Nothing is left half written here."""
        return 0

    def _at(self, name: str) -> str:
        return f"{self._root}/{name}"

    def _info(self, name: str) -> dict[str, Any] | None:
        found: dict[str, Any] | None = self._ask(READ_WITHIN_S, "info", self._at(name))
        return found if found is not None and found["type"] == "file" else None

    def _ask(
        self, within_s: float, what: str, *given: object, none: object = None, **named: object
    ) -> Any:
        """Have the storage do something; `none` where it has no such thing.

        Raises:
            Unavailable: it did not answer, or refused.
        """
        with self._turn():
            try:
                return self._do(within_s, what, *given, **named)
            except FileNotFoundError:
                return none
            except PermissionError as error:
                _log.warning("The photo storage refuses: %s", error)
                raise Unavailable(REFUSED) from None
            except Exception as error:
                _log.warning("The photo storage does not answer: %s: %s", type(error), error)
                self._away_until_s = self._steady_s() + LET_BE_S
                raise Unavailable(AWAY) from None

    @contextmanager
    def _turn(self) -> Iterator[None]:
        if self._steady_s() < self._away_until_s:
            raise Unavailable(AWAY)
        if not self._turns.acquire(timeout=WAIT_FOR_TURN_S):
            raise Unavailable(AWAY)
        try:
            yield
        finally:
            self._turns.release()

    def _do(self, within_s: float, what: str, *given: object, **named: object) -> Any:
        if not self._files.async_impl:
            return getattr(self._files, what)(*given, **named)
        sync, asked = import_module("fsspec.asyn").sync, getattr(self._files, f"_{what}")
        if not self._has_begun:
            sync(self._files.loop, self._files.set_session, timeout=BEGIN_WITHIN_S)
            self._has_begun = True
        return sync(self._files.loop, asked, *given, timeout=within_s, **named)


_NONE = object()


def _written_at(info: dict[str, Any]) -> Any:
    """The moment that a storage gives to a file: S3 as `LastModified`, others as `created`."""
    return info.get("LastModified") or info["created"]


def _file_system(storage: PhotoStorage) -> Any:
    """What fsspec knows of the kind of storage that an address names.

    Raises:
        DomainError: its library is not installed.
    """
    kind = storage.address.split("://", 1)[0]
    if find_spec("fsspec") is None or (kind == "s3" and find_spec("s3fs") is None):
        raise DomainError(NO_STORAGE_LIBRARY)
    options: dict[str, Any] = {"skip_instance_cache": True, "use_listings_cache": False}
    if kind == "s3":
        options |= {
            "endpoint_url": storage.endpoint or None,
            "key": storage.key or None,
            "secret": storage.secret or None,
            "config_kwargs": {
                "connect_timeout": CONNECT_WITHIN_S,
                "read_timeout": READ_WITHIN_S,
                "retries": {"max_attempts": 1},
                "max_pool_connections": AT_ONCE,
            },
        }
    made = import_module("fsspec").filesystem(kind, **options)
    made.retries = 2  # the library's own, of which it makes five otherwise
    return made


@cache
def stored_files(storage: PhotoStorage) -> StoredFiles:
    """The files in a storage: one object a process, since it counts turns and remembers."""
    return StoredFiles(storage)


def sync_folder(folder: Path) -> None:
    """Have a name in a folder on the disk; Windows has no such call."""
    try:
        descriptor = os.open(folder, os.O_RDONLY)
    except PermissionError:
        return
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
