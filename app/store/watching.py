"""Watching the files of an embedded database while it is in use.

SQLite keeps its files open: what is written after somebody has replaced, cut or removed them goes
where nobody will find it. So each write transaction looks at them before it begins and after it
was committed, and nothing is acknowledged that is not in the file. A write costs a few looks at
the folder and one page more; a read one look.
"""

import os
import secrets
import time
from pathlib import Path
from typing import NoReturn

from app.domain.errors import Unavailable
from app.store import files
from app.store.examination import is_sound

FIRST_COUNT_BELOW = 2**30
"""Counting begins at random, so that two databases seldom have numbers in common."""

LOOKS, BETWEEN_LOOKS_S = 4, 0.02
STILL_LOOKS, MOST_LOOKS = 50, 1500
"""Where a log is being moved into the file, page by page and its first page first: while nothing
comes, and in all."""
REPLACED, CUT = "was replaced by another file", "was cut off"


class FileChanged(Unavailable):
    """The files are not the ones that were opened."""


class Watch:
    """The files of one open database.

    Attributes:
        database: its main file.
    """

    def __init__(self, database: Path) -> None:
        self.database = database
        self._header = files.OpenHeader(database)
        self._log = database.with_name(f"{database.name}-wal")
        self._file: tuple[int, int] | None = None
        self._log_file: tuple[int, int] | None = None
        self._bytes = self._touched_ns = 0
        self._begun = self._committed = self._in_file = 0  # numbers of transactions
        if database.exists():
            self._remember(self._look())

    def close(self) -> None:
        """Let go of the files; after all connections were given back."""
        self._header.close()

    def look(self) -> None:
        """See that the file is the one that was opened, and whole.

        Raises:
            FileChanged: it is not.
        """
        if self._file is not None:
            self._look()

    def begin(self, count: int) -> int:
        """Let a write transaction begin on what `count` transactions have left; its number.

        Raises:
            FileChanged: the files are not the ones that were opened.
        """
        if self._file is not None:
            if not self._committed <= count or self._in_file > count:
                self._refuse(REPLACED)
            is_touched = self._look().st_mtime_ns != self._touched_ns
            # Where no other program of ours has stored anything, nobody had cause to write to it.
            if is_touched and count == self._committed and not is_sound(self.database):
                self._refuse("was damaged")
        self._begun = count + 1 if count else 1 + secrets.randbelow(FIRST_COUNT_BELOW)
        return self._begun

    def committed(self) -> None:
        """See that what was committed is in the files, and remember them.

        Raises:
            FileChanged: it is not.
        """
        found = self._look()
        log_file = _identity(self._log)
        if log_file is None or not files.has_begun(self._log):
            header = self._header.read()  # moved from the log into the file
            is_there = header is not None and header.count >= self._begun
        elif self._log_file in (None, log_file):
            is_there = True
        else:
            log = files.log_of(self._log)
            is_there = log is not None and log.last is not None and log.last >= self._begun
        if not is_there:
            self._refuse("has lost its log")
        self._log_file = log_file
        self._committed = self._begun
        self._remember(found)

    def _look(self) -> os.stat_result:
        try:
            found = self.database.stat()
        except OSError:
            self._refuse("cannot be found any more")
        if self._file not in (None, (found.st_dev, found.st_ino)):
            self._refuse(REPLACED)
        if found.st_size < self._bytes:
            self._refuse(CUT)
        if found.st_mtime_ns != self._touched_ns:
            self._look_inside()
        return found

    def _look_inside(self) -> None:
        """See that a file that was written to since is still the same database."""
        left, written_ns = LOOKS, 0
        for _ in range(MOST_LOOKS):
            header = self._header.read()
            trouble = ""
            if header is None or header.count < self._in_file:
                trouble = REPLACED
            elif self.database.stat().st_size < header.pages * header.page_bytes:
                trouble = CUT
            elif self._in_file and header.application_id != files.APPLICATION_ID:
                trouble = REPLACED
            else:
                return
            before_ns, written_ns = written_ns, self.database.stat().st_mtime_ns
            is_moved = trouble == CUT and files.has_begun(self._log)
            left = STILL_LOOKS if is_moved and written_ns != before_ns else left - 1
            if left <= 0:
                break
            time.sleep(BETWEEN_LOOKS_S)
        self._refuse(trouble)

    def _remember(self, found: os.stat_result) -> None:
        if found.st_mtime_ns != self._touched_ns:
            header = self._header.read()
            self._in_file = 0 if header is None else max(self._in_file, header.count)
        self._file = (found.st_dev, found.st_ino)
        self._bytes, self._touched_ns = found.st_size, found.st_mtime_ns

    def _refuse(self, what: str) -> NoReturn:
        raise FileChanged(
            f"The database file {self.database.name} {what} while the program ran. Stop the "
            "program, put the right file in place, then start it again."
        )


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except FileNotFoundError:
        return None
    return found.st_dev, found.st_ino
