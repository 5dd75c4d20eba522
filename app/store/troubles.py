"""What keeps the database or a disk from doing its work, in words for who has asked.

Result codes of SQLite: https://www.sqlite.org/rescode.html; of PostgreSQL: its documentation,
appendix A, "PostgreSQL Error Codes".
"""

import errno
import sqlite3

from sqlalchemy.exc import DBAPIError
from sqlalchemy.exc import TimeoutError as PoolIsEmpty

from app.domain.errors import Busy, OutOfSpace, Unavailable

CROWDED = "Too many requests at once. Try again in a few seconds."
LOCKED = "The database is busy with other work. Try again in a few seconds."
FULL = "The disk is full. Make room on the machine that keeps the database, then try again."
READ_ONLY = (
    "The database cannot be written. Its file, folder or server is read-only. Whoever looks "
    "after this machine must change that."
)
INCOMPLETE = (
    "The database lacks a table or column that this program needs. Stop the program and start it "
    "again. If that does not help, restore the last backup."
)
DAMAGED = (
    "The database is damaged. Stop the program, keep a copy of its folder and restore the last "
    "backup."
)
AWAY = "The database does not answer. Try again in a minute. If it stays away, check its server."
UNREADABLE = "The database's disk cannot be read or written. Check the disk, then try again."
NO_FILES = "A file cannot be written. Its folder is read-only. Change that, then try again."

_Words = tuple[type[Unavailable], str]

_OF_SQLITE: dict[int, _Words] = {
    sqlite3.SQLITE_BUSY: (Busy, LOCKED),
    sqlite3.SQLITE_LOCKED: (Busy, LOCKED),
    sqlite3.SQLITE_FULL: (OutOfSpace, FULL),
    sqlite3.SQLITE_READONLY: (Unavailable, READ_ONLY),
    sqlite3.SQLITE_CANTOPEN: (Unavailable, UNREADABLE),
    sqlite3.SQLITE_IOERR: (Unavailable, UNREADABLE),
    sqlite3.SQLITE_CORRUPT: (Unavailable, DAMAGED),
    sqlite3.SQLITE_NOTADB: (Unavailable, DAMAGED),
}
# By the whole code, or by its first two characters, the class.
_OF_POSTGRES: dict[str, _Words] = {
    "08": (Unavailable, AWAY),
    "25006": (Unavailable, READ_ONLY),
    "40": (Busy, LOCKED),
    "42501": (Unavailable, READ_ONLY),
    "42703": (Unavailable, INCOMPLETE),
    "42P01": (Unavailable, INCOMPLETE),
    "53100": (OutOfSpace, FULL),
    "53": (Busy, CROWDED),
    "55P03": (Busy, LOCKED),
    "57014": (Busy, LOCKED),
    "57": (Unavailable, AWAY),
    "58": (Unavailable, UNREADABLE),
    "XX001": (Unavailable, DAMAGED),
    "XX002": (Unavailable, DAMAGED),
}
_OF_FILES: dict[int, _Words] = {
    errno.ENOSPC: (OutOfSpace, FULL),
    errno.EDQUOT: (OutOfSpace, FULL),
    errno.EMFILE: (Busy, CROWDED),
    errno.ENFILE: (Busy, CROWDED),
    errno.EACCES: (Unavailable, NO_FILES),
    errno.EPERM: (Unavailable, NO_FILES),
    errno.EROFS: (Unavailable, NO_FILES),
    errno.EIO: (Unavailable, UNREADABLE),
}


def explained(error: BaseException) -> Unavailable | None:
    """What an error of the database or of a file says to a person; None where it is a mistake."""
    if isinstance(error, Unavailable):
        return error
    found = _known(error)
    return None if found is None else found[0](found[1])


def _known(error: BaseException) -> _Words | None:
    if isinstance(error, PoolIsEmpty):
        return Busy, CROWDED
    if isinstance(error, OSError):
        return _OF_FILES.get(error.errno or 0)
    said = error.orig if isinstance(error, DBAPIError) else error
    if isinstance(said, sqlite3.Error):
        return _of_sqlite(said)
    if not isinstance(error, DBAPIError):
        return None
    state = getattr(said, "sqlstate", None)
    if state is None:  # the driver has not heard from the server
        return (Unavailable, AWAY) if type(said).__name__ == "OperationalError" else None
    return _OF_POSTGRES.get(state) or _OF_POSTGRES.get(state[:2])


def _of_sqlite(error: sqlite3.Error) -> _Words | None:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF  # the rest says more, and is not needed
    if code == sqlite3.SQLITE_ERROR and str(error).startswith(("no such table", "no such column")):
        return Unavailable, INCOMPLETE
    return _OF_SQLITE.get(code)
