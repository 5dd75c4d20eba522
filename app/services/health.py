"""Whether the program can do its work: asked by whoever watches it, and by `doctor` in words."""

import logging
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path

from sqlalchemy import text

from app.config import Settings
from app.domain.clockwork import clock_doubt
from app.domain.errors import DomainError
from app.store import backups
from app.store.engine import Store, file_of
from app.store.examination import examine, is_sound
from app.store.instants import from_us
from app.store.migrations import HEAD, present_revision
from app.store.observing import LEFT_AFTER
from app.store.photos import ORIGINAL, SIZES, Photos, photos_at
from app.store.troubles import explained

_log = logging.getLogger(__name__)
LEAST_FREE_BYTES = 200 * 2**20
WITHIN_MS = 2000
PROBE = ".probe"
LATE_BACKUP = 2  # times the hours from one to the next


@dataclass(frozen=True)
class Finding:
    """What was looked at, whether it is well, and in words what is wrong or what was seen."""

    name: str
    is_well: bool
    words: str


def readiness(store: Store, data_dir: Path) -> list[Finding]:
    """Whether requests can be answered and stored now: each thing is tried, not believed."""
    looks: dict[str, Callable[[], str]] = {
        "database_reads": lambda: _reads(store),
        "database_writes": lambda: _writes(store),
        "data_folder": lambda: _folder_takes(data_dir),
    }
    return [_tried(name, look) for name, look in looks.items()]


def _tried(name: str, look: Callable[[], str]) -> Finding:
    try:
        return Finding(name, True, look())
    except Exception as error:
        if isinstance(error, DomainError):
            return Finding(name, False, str(error))
        _log.warning("%s: %s", name, error)
        return Finding(name, False, str(explained(error) or "It failed. The log says why."))


def _reads(store: Store) -> str:
    store.look()
    with store.reader.connect() as connection:
        form = present_revision(connection)
    if form != HEAD:
        raise DomainError(f"The database has form {form}; this program needs {HEAD}.")
    return f"form {form}"


def _writes(store: Store) -> str:
    """Have the lock of a write for a moment, and give it back unused."""
    with closing(store.writer.raw_connection()) as own:
        cursor = own.cursor()
        if not store.is_sqlite:
            cursor.execute("SELECT pg_is_in_recovery()")
            if (cursor.fetchone() or (False,))[0]:
                raise DomainError("This database server is read-only.")
            own.rollback()
            return "takes writes"
        kept_ms = cursor.execute("PRAGMA busy_timeout").fetchone()[0]
        cursor.execute(f"PRAGMA busy_timeout={WITHIN_MS}")
        try:
            cursor.execute("BEGIN IMMEDIATE")
            cursor.execute("ROLLBACK")
        finally:
            cursor.execute(f"PRAGMA busy_timeout={kept_ms}")
    return "takes writes"


def _folder_takes(data_dir: Path) -> str:
    if not data_dir.is_dir():
        raise DomainError(f"The data folder {data_dir} is gone.")
    probe = data_dir / ".ready"
    try:
        probe.write_bytes(b"x" * 4096)
        probe.unlink()
    except OSError as error:
        raise DomainError(f"The data folder {data_dir} cannot be written: {error}.") from None
    free = shutil.disk_usage(data_dir).free
    if free < LEAST_FREE_BYTES:
        raise DomainError(
            f"The disk of {data_dir} is nearly full: {free // 2**20} MB are left. Make room."
        )
    return f"{free // 2**20:,} MB free"


def examination(settings: Settings, now: datetime) -> Iterator[Finding]:
    """All that `doctor` looks at, each as it is found; nothing is changed."""
    yield _tried("Data folder", lambda: _folder_takes(settings.data_dir))
    database = file_of(settings.url)
    if database is None:
        yield Finding(
            "Database", True, "PostgreSQL: maintain it and back it up with its own tools."
        )
    else:
        found = _tried("Database", partial(_database, database))
        yield found
        if found.is_well:
            yield from _inside(database, now)
            yield _backups(settings, now)
        database = database if found.is_well and database.exists() else None
    yield _signing_in(settings, database)
    yield from _photos_of(settings, database)
    if settings.mail is not None and settings.summary_dir is None:
        words = (
            "Mail is set up, but no folder for the summaries, so nothing is sent. "
            "Set BATHKEEPER_SUMMARIES."
        )
        yield Finding("Mail", False, words)


def _database(database: Path) -> str:
    examine(database)
    if not database.exists():
        return "None yet. The first start makes one."
    if not is_sound(database):
        raise DomainError(f"{database} is damaged. Restore a backup: python3 -m app restore.")
    return f"Sound, {database.stat().st_size / 2**20:,.1f} MB."


def _inside(database: Path, now: datetime) -> Iterator[Finding]:
    if not database.exists():
        return
    address = f"{database.absolute().as_uri()}?mode=ro"
    with closing(sqlite3.connect(address, uri=True)) as connection:
        form = connection.execute("SELECT version_num FROM alembic_version").fetchone()[0]
        if form < HEAD:
            words = f"Of an earlier version (form {form}). The next start brings it up to {HEAD}."
            yield Finding("Version", True, words)
        elif form > HEAD:
            words = f"Of a newer version (form {form}). Start that version."
            yield Finding("Version", False, words)
        rooms = connection.execute(_RECORDED).fetchall()
        behind = [name for (name,) in connection.execute(_BEHIND)]
        left = connection.execute(_LEFT).fetchall() if form == HEAD else []
    for name, last_us, is_archived in rooms:
        doubt = clock_doubt(from_us(last_us), now)
        if doubt is not None and not (is_archived and doubt.way == "ahead"):
            words = (
                f"{name}: the last entry was recorded {doubt.last_at:%Y-%m-%d %H:%M} UTC, and the "
                f"clock says {now:%Y-%m-%d %H:%M}. Check this machine's clock."
            )
            yield Finding("Clock", False, words)
    for name in behind:
        words = f"{name}: an import stopped in the middle. Finish it or take it back on its page."
        yield Finding("Imports", False, words)
    for name, since_us in left:
        if now - from_us(since_us) > LEFT_AFTER:
            words = (
                f"{name}: days have not followed the log since {from_us(since_us):%Y-%m-%d %H:%M} "
                "UTC. Start the program; if it runs, read its log."
            )
            yield Finding("Forecasts", False, words)


_RECORDED = """
SELECT name, last_recorded_us, EXISTS (
    SELECT 1 FROM thing WHERE room_id = room.id AND thing = 'archive' AND is_open
) FROM room WHERE last_recorded_us IS NOT NULL
"""
_LEFT = """
SELECT room.name, min(tank.forecast_due_us) FROM tank JOIN room ON room.id = tank.room_id
WHERE tank.forecast_due_us IS NOT NULL GROUP BY room.id ORDER BY room.name
"""
_BEHIND = """
SELECT DISTINCT room.name FROM import_run JOIN room ON room.id = import_run.room_id
WHERE import_run.state = 'stopped'
"""


def _signing_in(settings: Settings, database: Path | None) -> Finding:
    """Whether people sign in; where they do not, anybody is believed."""
    if file_of(settings.url) is None:
        known = {True: "On.", False: "Off: anyone here can act as anyone else."}
        words = "Not set, so sign-in is on if the database has a manager."
        if settings.sign_in is not None:
            words = known[settings.sign_in]
        return Finding("Sign-in", True, words)
    managers = 0
    if database is not None and database.exists():
        address = f"{database.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as connection:
            if connection.execute(_HAS_ACCOUNTS).fetchone():
                (managers,) = connection.execute(_MANAGERS).fetchone()
    if settings.sign_in is False or (settings.sign_in is None and not managers):
        words = (
            "Off: anyone here can act as anyone else. Fine on one machine alone; otherwise start "
            "with --sign-in on."
        )
        return Finding("Sign-in", True, words)
    if not managers:
        return Finding("Sign-in", True, "On; the next start shows a code for the first manager.")
    several = "" if managers == 1 else "s"
    return Finding("Sign-in", True, f"On, looked after by {managers} manager{several}.")


_HAS_ACCOUNTS = "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'account'"
_MANAGERS = "SELECT count(*) FROM account WHERE role = 'manager' AND left_at_us IS NULL"


def _backups(settings: Settings, now: datetime) -> Finding:
    into = settings.backup_dir or settings.data_dir / "backups"
    made = backups.backups(into)
    if not made:
        words = (
            f"There is no backup in {into}. Set BATHKEEPER_BACKUPS, or type: python3 -m app backup."
        )
        return Finding("Backups", False, words)
    age = now - backups.made_at(made[-1])
    said = f"The last one in {into} is of {backups.made_at(made[-1]):%Y-%m-%d %H:%M} UTC"
    if age > timedelta(hours=LATE_BACKUP * settings.backup_every_h):
        return Finding(
            "Backups",
            False,
            f"{said}. That is too long ago. Find out why none has been made since.",
        )
    if into.stat().st_dev == settings.data_dir.stat().st_dev:
        words = f"{said}, on the same disk as the data. If that disk fails, both are lost."
        return Finding("Backups", True, words)
    return Finding("Backups", True, f"{said}.")


def _photos_of(settings: Settings, database: Path | None) -> Iterator[Finding]:
    """What is wrong with the photos; of a storage first whether it keeps what it is given."""
    try:
        folder = photos_at(settings)
        if settings.photos is not None:
            folder.files.write(PROBE, b"x" * 4096)
            folder.files.remove(PROBE)
            yield Finding("Photo storage", True, f"{settings.photos.address}: takes writes.")
        yield _photos(folder, database)
    except DomainError as trouble:
        yield Finding("Photo storage", False, str(trouble))


def _photos(folder: Photos, database: Path | None) -> Finding:
    """Hold photos against their digests, and against what the log names; nothing is mended."""
    there = set(folder.digests())
    bad = {one for one in there if any(folder.sound(one, size) is None for size in SIZES)}
    bad |= {
        one
        for one in there
        if folder.has_file(one, ORIGINAL) and folder.sound(one, ORIGINAL) is None
    }
    if database is not None:
        address = f"{database.absolute().as_uri()}?mode=ro"
        with closing(sqlite3.connect(address, uri=True)) as connection:
            bad |= backups.named_photos(connection) - there
    if bad:
        listed = ", ".join(one[:12] for one in sorted(bad)[:5])
        words = (
            f"{len(bad)} are damaged or lost ({listed}). Add the same pictures again where they "
            "belong, or take their files from a backup."
        )
        return Finding("Photos", False, words)
    return Finding("Photos", True, f"{len(there):,}, all sound.")


def ping(store: Store) -> None:
    """A read, for whoever asks whether requests are answered at all."""
    with store.reader.connect() as connection:
        connection.execute(text("SELECT 1"))
