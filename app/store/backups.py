"""Backups of a data folder, taken while people work: the database and its photos, tried at once.

A backup is a folder of its own: the database as one file, the photos, and `backup.json`, which says
what is in it. The copy of the database is one moment's (SQLite's backup in one step: in several it
begins anew whenever somebody writes). Photos are on the disk before an entry names them, so those
copied after the database are all that it names. What did not change since the backup before is
linked to it, not copied.
"""

import hashlib
import json
import os
import re
import shutil
import sqlite3
from collections.abc import Iterable, Mapping
from contextlib import closing
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

from pydantic import AfterValidator, ConfigDict, TypeAdapter

from app.domain.chain import anchor_at
from app.domain.errors import DomainError
from app.store.photo_files import sync_folder
from app.store.photos import ORIGINAL, SET_ASIDE, SIZES, SUMS, PhotoFolder, Photos, file_of

DATABASE, PHOTOS, CONTENTS = "bathkeeper.sqlite3", "photos", "backup.json"
NAME = re.compile(r"bathkeeper-(\d{8}T\d{6}Z)")
_PART, LEFT_OVER = ".part-", timedelta(days=1)
_STAMP = "%Y%m%dT%H%M%SZ"
KEPT_DAYS, KEPT_WEEKS, KEPT_MONTHS = 14, 8, 12
"""Kept are all backups of so many days, then one of each week, then one of each month."""
_PHOTO = re.compile(r'"photo": ?"([0-9a-f]{64})"|photo:([0-9a-f]{64})')
_BLOCK = 1 << 20


PHOTO_FILE = re.compile(r"(?!\.)[^/\\\x00]{2}/(?!\.)[^/\\\x00]+")


class NotRestorable(DomainError):
    """A backup is not whole; the message says what is wrong."""


def _of_a_photo(name: str) -> str:
    """The path of a file within the folder of photos, and of none outside: anybody may write it."""
    if not PHOTO_FILE.fullmatch(name):
        raise ValueError
    return name


@dataclass(frozen=True)
class Contents:
    """What is in a backup, as `backup.json` keeps it.

    Attributes:
        made_at: the moment that its database is of.
        form: the revision of the database.
        entries: how many the log of each room has, by the room's key.
        database_sha256: digest of its file.
        photos: digest of each file of a photo, by its path in the folder.
        lost_photos: named by the log, and not whole in the data folder already.
        anchors: code of the end of each room's log, by the room's key (domain/chain).
    """

    made_at: str
    form: str
    entries: Mapping[str, int]
    database_sha256: str
    photos: Mapping[Annotated[str, AfterValidator(_of_a_photo)], str]
    lost_photos: tuple[str, ...] = ()
    anchors: Mapping[str, str] = field(default_factory=dict)
    __pydantic_config__ = ConfigDict(extra="forbid")


_CONTENTS = TypeAdapter(Contents)


def back_up(data_dir: Path, into: Path, now: datetime, photos: Photos | None = None) -> Path:
    """Make a backup of a data folder in the folder `into`, restore it on trial, and give it.

    Its photos are those of the folder, or `photos` where they lie elsewhere.

    Raises:
        DomainError: there is no database, the photo storage does not answer, or the backup could
            not be restored; it is not kept.
        OSError: there is no room for it, or the folder cannot be written.
    """
    database = data_dir / DATABASE
    if not database.is_file():
        raise DomainError(f"There is no database in the folder {data_dir}.")
    into.mkdir(parents=True, exist_ok=True)
    _sweep(into, now)
    final = into / f"bathkeeper-{now.astimezone(UTC).strftime(_STAMP)}"
    if final.exists():
        raise DomainError(f"There is already a backup {final}.")
    part = into / f"{_PART}{final.name}"
    part.mkdir()
    try:
        _copy_database(database, part / DATABASE)
        before = max(backups(into), default=None)
        copied = _copy_photos(photos or PhotoFolder(data_dir), part / PHOTOS, before)
        found = _contents(part, copied, now)
        _write(part / CONTENTS, json.dumps(asdict(found), indent=1, sort_keys=True).encode())
        with TemporaryDirectory(dir=part) as trial:
            restore(part, Path(trial), is_trial=True)
        part.replace(final)
        sync_folder(into)
    except BaseException:
        shutil.rmtree(part, ignore_errors=True)
        raise
    return final


def restore(
    backup: Path, data_dir: Path, *, is_trial: bool = False, photos: Photos | None = None
) -> Contents:
    """Bring a backup into a data folder that has no database, and hold it against its contents.

    Its photos come into the folder, or to `photos` where they lie elsewhere: what is sound there
    stays, since a photo is called after its content, and nothing is deleted.

    Raises:
        NotRestorable: the backup is not whole; the folder is left as it was.
        DomainError: the folder has a database, or the photo storage does not answer.
    """
    found = read(backup)
    if data_in(data_dir):
        raise DomainError(f"The folder {data_dir} already has data.")
    data_dir.mkdir(parents=True, exist_ok=True)
    part = data_dir / ".part-restored"
    shutil.rmtree(part, ignore_errors=True)
    part.mkdir()
    try:
        _bring(backup / DATABASE, part / DATABASE, found.database_sha256, is_link=False)
        for name, digest in found.photos.items():
            _bring(backup / PHOTOS / name, part / PHOTOS / name, digest, is_link=is_trial)
        _examine(part / DATABASE, found)
        if photos is not None:
            _bring_photos(PhotoFolder(part), photos)
            shutil.rmtree(part / PHOTOS, ignore_errors=True)
        for name in (PHOTOS, DATABASE):
            if (part / name).exists():
                (part / name).replace(data_dir / name)
        sync_folder(data_dir)
    finally:
        shutil.rmtree(part, ignore_errors=True)
    return found


def data_in(data_dir: Path) -> list[Path]:
    """What a restored backup would stand in the place of."""
    files = [path for path in data_dir.glob(f"{DATABASE}*") if path.suffix != ".lock"]
    return [*files, *([data_dir / PHOTOS] if (data_dir / PHOTOS).exists() else [])]


def move_aside(data_dir: Path, now: datetime) -> Path | None:
    """Move the data that are there into a folder beside them; None where there are none."""
    names = data_in(data_dir)
    if not names:
        return None
    aside = data_dir / f"replaced-{now.astimezone(UTC).strftime(_STAMP)}"
    aside.mkdir()
    for path in names:
        path.replace(aside / path.name)
    return aside


def read(backup: Path) -> Contents:
    """What a backup says is in it.

    Raises:
        NotRestorable: it says nothing that can be read.
    """
    try:
        return _CONTENTS.validate_json((backup / CONTENTS).read_bytes(), strict=True)
    except (OSError, ValueError):
        raise NotRestorable(f"{backup} is not a backup. Its {CONTENTS} cannot be read.") from None


def backups(into: Path) -> list[Path]:
    """The backups in a folder, the oldest first."""
    found = [path for path in into.glob("bathkeeper-*") if NAME.fullmatch(path.name)]
    return sorted(path for path in found if (path / CONTENTS).is_file())


def made_at(backup: Path) -> datetime:
    """The moment that a backup is of, by its name."""
    stamp = backup.name.removeprefix(_PART).removeprefix("bathkeeper-")
    return datetime.strptime(stamp, _STAMP).replace(tzinfo=UTC)


def rotate(into: Path, now: datetime) -> list[Path]:
    """Delete backups that are not kept any more; the newest always is. What was deleted."""
    there = backups(into)
    kept = set(to_keep([made_at(one) for one in there], now))
    gone = [one for one in there if made_at(one) not in kept]
    for one in gone:
        (one / CONTENTS).unlink()  # from here on it is no backup, should this be cut off
        shutil.rmtree(one)
    return gone


def to_keep(moments: Iterable[datetime], now: datetime) -> list[datetime]:
    """Of backups of these moments, those that stay: the oldest of each week, of each month."""
    kept, weeks, months = [], set[tuple[int, int]](), set[tuple[int, int]]()
    in_order = sorted(moments)
    for at in in_order:
        age, week, month = now - at, at.isocalendar()[:2], (at.year, at.month)
        is_of_days = age <= timedelta(days=KEPT_DAYS)
        is_of_weeks = age <= timedelta(weeks=KEPT_WEEKS) and week not in weeks
        is_of_months = age <= timedelta(days=31 * KEPT_MONTHS) and month not in months
        if is_of_days or is_of_weeks or is_of_months or at == in_order[-1]:
            kept.append(at)
            weeks.add(week)
            months.add(month)
    return kept


def _sweep(into: Path, now: datetime) -> None:
    """Remove what a program that was killed left half made; one that is being made now stays."""
    for left in into.glob(f"{_PART}bathkeeper-*"):
        if now - made_at(left) > LEFT_OVER:
            shutil.rmtree(left, ignore_errors=True)


def _copy_database(source: Path, target: Path) -> None:
    address = f"{source.absolute().as_uri()}?mode=ro"
    with (
        closing(sqlite3.connect(address, uri=True, timeout=60)) as there,
        closing(sqlite3.connect(target)) as here,
    ):
        there.backup(here)
        here.execute("PRAGMA journal_mode=DELETE")  # one file, without a log beside it
    with target.open("rb+") as file:
        os.fsync(file.fileno())


def _copy_photos(source: Photos, target: Path, before: Path | None) -> dict[str, str]:
    """Copy each file, or link it to the same one of the backup before; their digests by path."""
    known = read(before).photos if before else {}
    found = {}
    for name in source.files.names():
        if name.endswith(SET_ASIDE) or (content := source.files.read(name)) is None:
            continue
        (target / name).parent.mkdir(parents=True, exist_ok=True)
        found[name] = hashlib.sha256(content).hexdigest()
        if before and found[name] == known.get(name) == _digest(before / PHOTOS / name):
            _link(before / PHOTOS / name, target / name)
        else:
            _write(target / name, content)
    return found


def _bring_photos(source: Photos, target: Photos) -> None:
    """Bring the files of photos that are not whole where they go."""
    for digest in source.digests():
        names = [file_of(digest, size) for size in (ORIGINAL, *SIZES, SUMS)]
        files = {name: source.files.read(name) for name in names}
        if any(target.files.read(name) != content for name, content in files.items() if content):
            for name, content in files.items():
                if content is not None:
                    target.files.write(name, content)


def _contents(part: Path, photos: Mapping[str, str], now: datetime) -> Contents:
    with closing(_reader(part / DATABASE)) as database:
        folder = PhotoFolder(part)
        lost = [one for one in sorted(named_photos(database)) if not folder.has(one)]
        return Contents(
            made_at=now.astimezone(UTC).isoformat(),
            form=_form(database),
            entries=_entries(database),
            database_sha256=_digest(part / DATABASE) or "",
            photos=photos,
            lost_photos=tuple(lost),
            anchors=_anchors(database),
        )


def named_photos(database: sqlite3.Connection) -> set[str]:
    """The photos that the log names: of inspections, and of steps of a swap."""
    rows = database.execute("SELECT fields FROM entry WHERE fields LIKE '%photo%'")
    return {one for (text,) in rows for one in photos_in(text)}


def photos_in(fields: str) -> set[str]:
    """The photos that the fields of an entry name, as they are stored.

    >>> photos_in('{"parts":5}')
    set()
    """
    return {first or second for first, second in _PHOTO.findall(fields)}


def _examine(database: Path, said: Contents) -> None:
    with closing(_reader(database)) as found:
        (structure,) = found.execute("PRAGMA integrity_check(1)").fetchone()
        if structure != "ok":
            raise NotRestorable(f"The database of the backup is damaged ({structure}).")
        said_anchors = dict(said.anchors) or _anchors(found)  # there were none in early backups
        is_it = (_form(found), _entries(found)) == (said.form, dict(said.entries))
        if not is_it or _anchors(found) != said_anchors:
            text = f"The backup's database is not the one {CONTENTS} describes."
            raise NotRestorable(text)


def _form(database: sqlite3.Connection) -> str:
    return str(database.execute("SELECT version_num FROM alembic_version").fetchone()[0])


def _entries(database: sqlite3.Connection) -> dict[str, int]:
    query = "SELECT key, (SELECT count(*) FROM entry WHERE room_id = room.id) FROM room"
    return dict(database.execute(query).fetchall())


def _anchors(database: sqlite3.Connection) -> dict[str, str]:
    if not database.execute("SELECT 1 FROM sqlite_master WHERE name = 'chain'").fetchone():
        return {}
    query = "SELECT key, number, digest FROM chain JOIN room ON room.id = room_id WHERE number > 0"
    return {key: anchor_at(number, digest).code for key, number, digest in database.execute(query)}


def _reader(database: Path) -> sqlite3.Connection:
    return sqlite3.connect(f"{database.absolute().as_uri()}?mode=ro&immutable=1", uri=True)


def _bring(source: Path, target: Path, digest: str, *, is_link: bool) -> None:
    # What a link leads to lies elsewhere on this machine, and is no part of the backup.
    if (found := None if source.is_symlink() else _digest(source)) != digest:
        state = "is missing from" if found is None else "is damaged in"
        raise NotRestorable(f"{source.name} {state} the backup {source.parent}.")
    target.parent.mkdir(parents=True, exist_ok=True)
    if is_link:
        _link(source, target)
        return
    shutil.copyfile(source, target)
    with target.open("rb+") as file:
        os.fsync(file.fileno())


def _link(source: Path, target: Path) -> None:
    try:
        os.link(source, target)
    except OSError:  # another disk, or one that has no links
        shutil.copyfile(source, target)


def _digest(path: Path) -> str | None:
    digest = hashlib.sha256()
    try:
        with path.open("rb") as file:
            while block := file.read(_BLOCK):
                digest.update(block)
    except FileNotFoundError:
        return None
    return digest.hexdigest()


def end_sessions(database: Path) -> None:
    """Let nobody be signed in by a session of a backup: it may have been ended since."""
    with closing(sqlite3.connect(database)) as found, found:
        query = "SELECT 1 FROM sqlite_master WHERE type = 'table' AND name = 'sign_in'"
        if found.execute(query).fetchone() is not None:
            found.execute("UPDATE sign_in SET ended_at_us = seen_at_us WHERE ended_at_us IS NULL")


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
