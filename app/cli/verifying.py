"""The command that says whether logs are what was stored."""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager

from sqlmodel import Session, col, select

from app.cli.logs import find, say
from app.cli.progress import ProgressBar
from app.config import Settings, from_environment
from app.domain.chain import Anchor, read_anchor
from app.domain.errors import DomainError
from app.domain.plural import counted
from app.services.verifying import Chained, chained, verify
from app.store.chain import of_one_moment
from app.store.engine import Store, file_of, open_to_read
from app.store.examination import examine
from app.store.migrations import HEAD, present_revision
from app.store.sessions import reading
from app.store.tables import RoomRow


def verify_logs(words: argparse.Namespace) -> int:
    """Walk along the chain of a room, or of all; exit code 1 where something is wrong."""
    anchor = None if words.anchor is None else read_anchor(words.anchor)
    with only_read_at(from_environment(words.data)) as store, reading(store) as session:
        of_one_moment(session, store)
        if words.room is not None:
            rooms = [find(session, words.room)]
        else:
            rooms = list(session.exec(select(RoomRow).order_by(col(RoomRow.name))))
        if not rooms:
            say("No room has been set up yet.")
        found = [_verified(session, room, anchor) for room in rooms]
    wrong = sum(not is_well for is_well, _ in found)
    if anchor is not None and not any(has for _, has in found):
        names = ", ".join(room.key for room in rooms) or "no room"
        say(f"WRONG  Anchor {anchor.code} is in no log ({names}).")
        wrong += 1
    return 1 if wrong else 0


def _verified(session: Session, room: RoomRow, anchor: Anchor | None) -> tuple[bool, bool]:
    """Whether a room's log is well, and whether it contains the anchor."""
    progress = ProgressBar()
    walked = verify(session, room, anchor, progress)
    progress.close()
    if walked.wrong:
        say(f"WRONG  {room.key}: {walked.wrong} Before it: {_entries(walked.count)} as stored.")
    elif (end := chained(session, room)) is None:
        say(f"well   {room.key}: nothing has been logged yet.")
    else:
        say(f"well   {room.key}: {_entries(walked.count)}, all as stored. {_of_chain(end)}")
    if walked.is_anchored and anchor is not None:
        say(f"well   {room.key}: the log contains anchor {anchor.code}.")
    return not walked.wrong, bool(walked.is_anchored)


def _entries(count: int) -> str:
    return counted(count, "entry", "entries")


def _of_chain(end: Chained) -> str:
    at = "" if end.at is None else f", recorded {end.at:%Y-%m-%d %H:%M} UTC"
    said = f"Anchor {end.code}{at}."
    if not end.before:
        return said
    since = f"{end.since:%Y-%m-%d %H:%M} UTC"
    return f"{said} Chained since {since}, the {_entries(end.before)} before as they were then."


@contextmanager
def only_read_at(settings: Settings) -> Iterator[Store]:
    """The database of these settings, in which nothing is changed.

    Raises:
        DomainError: there is none, or it is not in the form of this version.
    """
    if database := file_of(settings.url):
        examine(database)  # says so where there was one
        if not database.exists():
            raise DomainError(
                f"There is no database in the folder {database.parent}. "
                "Name its folder with --data DIR."
            )
    store = open_to_read(settings.url)
    try:
        with store.reader.connect() as connection:
            form = present_revision(connection)
        if form != HEAD:
            raise DomainError(
                f"The database has form {form or 'none'}; this version needs {HEAD}. Start the "
                "program once, so that it is brought up to date."
            )
        yield store
    finally:
        store.close()
