"""The files of an embedded database, looked at as bytes before SQLite touches them.

SQLite believes what lies in the folder: it takes an emptied file for a new database, and writes
the pages of a log (`-wal`) into whatever file stands beside it. So the number of write
transactions is counted in the first page (`PRAGMA user_version`, of which SQLite makes no use):
a log belongs to a file when it goes on where the file ends. Offsets: "Database File Format",
SQLite documentation, sections 1.3 (header of the database) and 4.1 (of the log).
"""

import os
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from threading import Lock
from typing import BinaryIO
from weakref import finalize

MAGIC = b"SQLite format 3\0"
APPLICATION_ID = int.from_bytes(b"BthK")
"""Says whose database a file is (`PRAGMA application_id`); the number has no other meaning."""
LOG_MAGICS = (0x377F0682, 0x377F0683)
_COUNT = slice(60, 64)
_BINARY = getattr(os, "O_BINARY", 0)  # Windows alone has it


@dataclass(frozen=True)
class Header:
    """What the first hundred bytes of a database say.

    Attributes:
        count: number of the last write transaction that is in the file; 0 before counting.
    """

    page_bytes: int
    pages: int
    count: int
    application_id: int


@dataclass(frozen=True)
class Log:
    """The write transactions that a log (`-wal`) holds, by their numbers.

    Attributes:
        first, last: None where the transaction did not count itself.
    """

    first: int | None
    last: int | None

    def continues(self, count: int) -> bool:
        """Whether it goes on where a file ends that holds `count` transactions."""
        if count == 0:  # of a version that did not count yet
            return True
        if self.first is None or self.last is None:
            return False
        return self.first - 1 <= count <= self.last


def header_of(database: Path) -> Header | None:
    """The header of a database that nobody in this process has open, None where there is none.

    Raises:
        OSError: it cannot be read.
    """
    with database.open("rb") as file:
        return _header_in(file.read(100))


class OpenHeader:
    """The header of a database that SQLite has open in this process, read again and again.

    Its file is opened once and stays open: to close any descriptor of a file drops all locks that
    a process has on it (POSIX, `fcntl`), those of SQLite too. Another program that closes the
    database then believes that it was the last one, and removes the log from under this one.
    """

    def __init__(self, database: Path) -> None:
        self._database = database
        self._turn = Lock()
        self._descriptor: int | None = None
        self._letting_go: Callable[[], object] | None = None

    def read(self) -> Header | None:
        """What the header says now; None where the file has none.

        Raises:
            OSError: it cannot be read.
        """
        with self._turn:
            if self._descriptor is None:
                self._descriptor = os.open(self._database, os.O_RDONLY | _BINARY)
                self._letting_go = finalize(self, partial(os.close, self._descriptor))
            os.lseek(self._descriptor, 0, os.SEEK_SET)
            return _header_in(os.read(self._descriptor, 100))

    def close(self) -> None:
        """Let go of the file, once SQLite has; what is not closed is let go of with this object."""
        with self._turn:
            if self._letting_go is not None:
                self._letting_go()
            self._descriptor = self._letting_go = None


def _header_in(start: bytes) -> Header | None:
    if len(start) < 100 or not start.startswith(MAGIC):
        return None
    page_bytes = int.from_bytes(start[16:18])
    return Header(
        page_bytes=65536 if page_bytes == 1 else page_bytes,
        pages=int.from_bytes(start[28:32]),
        count=int.from_bytes(start[_COUNT]),
        application_id=int.from_bytes(start[68:72]),
    )


def has_begun(log: Path) -> bool:
    """Whether a log has a header, as it has from its first transaction on."""
    try:
        with log.open("rb") as file:
            return int.from_bytes(file.read(4)) in LOG_MAGICS
    except FileNotFoundError:
        return False


def log_of(log: Path) -> Log | None:
    """What was committed to a log, None where that is nothing.

    Raises:
        OSError: it cannot be read.
    """
    if not has_begun(log):
        return None
    with log.open("rb") as file:
        counts = _counts(file)
    return Log(counts[0], counts[-1]) if counts else None


def _counts(file: BinaryIO) -> list[int | None]:
    """The number of each transaction in a log; one that left the first page alone has none."""
    header = file.read(32)
    page_bytes = int.from_bytes(header[8:12])
    counts: list[int | None] = []
    count = None
    # A frame of an earlier round carries other salts: there this round ends.
    while (frame := file.read(24)) and frame[8:16] == header[16:24]:
        page, pages_after_commit = int.from_bytes(frame[:4]), int.from_bytes(frame[4:8])
        if page == 1:
            count = int.from_bytes(file.read(100)[_COUNT])
            file.seek(page_bytes - 100, os.SEEK_CUR)
        else:
            file.seek(page_bytes, os.SEEK_CUR)
        if pages_after_commit:
            counts.append(count)
            count = None
    return counts
