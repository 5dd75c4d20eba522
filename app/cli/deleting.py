"""The command that deletes an archived room for good."""

import argparse

from app.cli.alone import alone
from app.cli.database import opened
from app.cli.logs import export_log, find, say
from app.clock import utc_now
from app.config import from_environment
from app.domain.errors import DomainError
from app.services.deleting import delete_room
from app.store.photos import photos_at
from app.store.sessions import reading


def delete_archived_room(words: argparse.Namespace) -> int:
    """Write the room's log to a file, then delete the room; of SQLite, while no server runs."""
    settings = from_environment(words.data)
    if words.output is None and not words.without_export:
        raise DomainError(
            "Take the room's log away first: --output FILE. If you have it, give --without-export. "
            "Nothing was deleted."
        )
    with alone(settings.url), opened(words.data) as store:
        if words.output is not None:
            words.csv = False
            export_log(words)
        with reading(store) as session:
            key = find(session, words.room).key
        done = delete_room(
            store,
            settings.data_dir,
            key,
            words.name,
            words.by,
            utc_now(),
            photos_at(settings),
        )
    what = f"{done.entries:,} entries, {done.photos:,} photos"
    at_end = f" Anchor of its end: {done.code}." if done.code else ""
    say(f"Deleted {done.name} ({done.key}): {what}.{at_end}")
    return 0
