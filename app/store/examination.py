"""Whether an embedded database may be used at all, asked before anything is written to it."""

import sqlite3
from contextlib import closing
from pathlib import Path

from app.domain.errors import DomainError
from app.store import files

OWN_TABLES = {"alembic_version", "entry", "room"}
_RESTORE = "Put the file back from a backup, or name another folder with --data DIR."
_MARK = """\
The file {name} in this folder holds the history of the rooms.
If it is missing or empty at the next start, the program says so instead of starting empty.
To start empty in this folder on purpose, remove this file too.
"""


class Unusable(DomainError):
    """The database cannot be used as it is; the message says what to do."""


def mark_in_use(database: Path) -> None:
    """Note beside the database that there is one, so that its loss is noticed."""
    mark = _mark_of(database)
    if not mark.exists():
        mark.write_text(_MARK.format(name=database.name), "utf-8")


def examine(database: Path) -> None:
    """Let a sound database of this program pass, and a place where there was none yet.

    Raises:
        Unusable: it was lost, emptied or damaged, or is another program's.
    """
    try:
        if not database.exists():
            _examine_gap(database)
        else:
            _examine_bytes(database)
            _examine_content(database)
    except OSError as error:
        raise _unusable(f"{database} cannot be read ({error.strerror or error}).") from None
    except sqlite3.DatabaseError as error:
        raise _unusable(f"{database} is damaged ({error}). {_RESTORE}") from None


def is_sound(database: Path) -> bool:
    """Whether the structure of a database is whole; it is only read."""
    try:
        with closing(_reader(database)) as connection:
            return _structure(connection) == "ok"
    except sqlite3.DatabaseError:
        return False


def _unusable(text: str) -> Unusable:
    return Unusable(f"The database cannot be used: {text} Nothing was changed.")


def _mark_of(database: Path) -> Path:
    return database.with_name(f"{database.name}.in-use")


def _beside(database: Path, ending: str) -> Path:
    return database.with_name(f"{database.name}{ending}")


def _examine_gap(database: Path) -> None:
    if _mark_of(database).exists():
        raise _unusable(
            f"{database} is missing, and there was one. {_RESTORE} "
            f"To start empty here, remove {_mark_of(database).name} too."
        )
    for ending in ("-wal", "-journal"):
        if (left := _beside(database, ending)).exists() and left.stat().st_size:
            raise _unusable(
                f"{left.name} is here without its database {database}. {_RESTORE} "
                f"To start empty here, move {left.name} elsewhere."
            )


def _examine_bytes(database: Path) -> None:
    size = database.stat().st_size
    if size == 0:
        raise _unusable(
            f"{database} is empty. {_RESTORE} To start empty here, remove {database.name}"
            f"{f' and {_mark_of(database).name}' if _mark_of(database).exists() else ''}."
        )
    header = files.header_of(database)
    if header is None:
        raise _unusable(f"{database} is not a database, or its start is damaged. {_RESTORE}")
    if header.application_id not in (0, files.APPLICATION_ID):
        raise _unusable(
            f"{database} belongs to another program. Name another folder with --data DIR."
        )
    _examine_log(database, header.count)
    if size < header.pages * header.page_bytes and files.log_of(_beside(database, "-wal")) is None:
        raise _unusable(
            f"{database} is cut off: it has {size:,} of {header.pages * header.page_bytes:,} "
            f"bytes. {_RESTORE}"
        )


def _examine_log(database: Path, count: int) -> None:
    journal, log = _beside(database, "-journal"), _beside(database, "-wal")
    left = None
    if journal.exists() and journal.stat().st_size and _mark_of(database).exists():
        left = journal
    elif (found := files.log_of(log)) is not None and not found.continues(count):
        left = log
    if left is not None:
        raise _unusable(
            f"{left.name} belongs to a different file, not to {database.name}. Used together they "
            f"would be damaged. If {database.name} is a restored backup, move {left.name} and "
            f"{database.name}-shm elsewhere, then start again. Otherwise put back the file that "
            "belongs to it."
        )


def _examine_content(database: Path) -> None:
    with closing(_reader(database)) as connection:
        query = "SELECT name FROM sqlite_master WHERE type = 'table'"
        tables = {name for (name,) in connection.execute(query)}
        if tables and not tables >= OWN_TABLES:
            raise _unusable(
                f"{database} belongs to another program. Name another folder with --data DIR."
            )
        if not tables and _mark_of(database).exists():
            raise _unusable(f"{database} is now empty. {_RESTORE}")
        if (found := _structure(connection)) != "ok":
            raise _unusable(f"{database} is damaged ({found[:200]}). {_RESTORE}")


def _reader(database: Path) -> sqlite3.Connection:
    address = f"{database.absolute().as_uri()}?mode=ro"
    return sqlite3.connect(address, uri=True, check_same_thread=False)


def _structure(connection: sqlite3.Connection) -> str:
    """`ok`, or the first thing that is wrong with the structure of the tables and indexes."""
    row = connection.execute("PRAGMA quick_check(1)").fetchone()
    return str(row[0]).replace("\n", " ")
