"""The commands that take backups and bring them back."""

import argparse
from pathlib import Path

from app.cli.alone import alone
from app.cli.database import writable_settings
from app.cli.logs import say
from app.clock import utc_now
from app.config import Settings, from_environment
from app.domain.errors import DomainError
from app.domain.plural import counted
from app.store.backups import (
    back_up,
    data_in,
    end_sessions,
    made_at,
    move_aside,
    read,
    restore,
    rotate,
)
from app.store.engine import file_of
from app.store.examination import examine
from app.store.photos import photos_at

ELSEWHERE = (
    "The database is PostgreSQL: back it up with its own tools (pg_dump, or its continuous "
    "archiving), then copy {photos}. In this order the copy has every photo the "
    "database names."
)


def back_up_data(words: argparse.Namespace) -> int:
    """Take a backup, try it, and delete those that are not kept any more."""
    settings = from_environment(words.data)
    _require_embedded(settings)
    into = words.to or settings.backup_dir or settings.data_dir / "backups"
    now = utc_now()
    made = back_up(settings.data_dir, into, now, photos_at(settings))
    found = read(made)
    entries = sum(found.entries.values())
    say(f"Backup: {made}")
    say(
        f"{counted(len(found.entries), 'room')}, {counted(entries, 'entry', 'entries')}, "
        f"{counted(len(found.photos), 'photo file')}. "
        "A test restore found all of it."
    )
    for room, code in found.anchors.items():
        say(f"Anchor of {room}: {code}")
    if found.lost_photos:
        say(f"Lost earlier, though the log names them: {counted(len(found.lost_photos), 'photo')}.")
    for gone in rotate(into, now):
        say(f"No longer kept: {gone.name}")
    return 0


def restore_data(words: argparse.Namespace) -> int:
    """Bring a backup into a data folder; what is there is only moved aside, and only when asked."""
    settings = writable_settings(words.data)
    _require_embedded(settings)
    backup: Path = words.backup
    read(backup)
    with alone(settings.url):
        if data_in(settings.data_dir):
            if not words.replace:
                raise DomainError(
                    f"The folder {settings.data_dir} already has data. Nothing was changed. Name "
                    "an empty folder with --data DIR, or add --replace to move what is there "
                    "into a folder beside it."
                )
            aside = move_aside(settings.data_dir, utc_now())
            say(f"What was there is now in {aside}")
        elsewhere = photos_at(settings) if settings.photos is not None else None
        found = restore(backup, settings.data_dir, photos=elsewhere)
        end_sessions(settings.data_dir / "bathkeeper.sqlite3")
        examine(settings.data_dir / "bathkeeper.sqlite3")
    entries = sum(found.entries.values())
    said = counted(entries, "entry", "entries")
    say(f"Restored as of {made_at(backup.absolute()):%Y-%m-%d %H:%M} UTC: {said}.")
    return 0


def _require_embedded(settings: Settings) -> None:
    if file_of(settings.url) is None:
        raise DomainError(ELSEWHERE.format(photos=_where(settings)))


def _where(settings: Settings) -> str:
    """Where the photos lie, in words."""
    if settings.photos is not None:
        return f"the photos at {settings.photos.address}"
    return f"the folder {settings.data_dir / 'photos'}"
