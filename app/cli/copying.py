"""The command that copies rooms from one database to another."""

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError
from sqlmodel import Session, col, select

from app.cli.alone import alone
from app.cli.database import writable
from app.cli.logs import find, say
from app.cli.progress import ProgressBar
from app.cli.verifying import only_read_at
from app.clock import utc_now
from app.config import Settings, from_environment, photo_storage
from app.domain.chain import anchor_at
from app.domain.errors import DomainError
from app.domain.plural import counted
from app.services.copying import Copied, Place, copy_room
from app.store.chain import of_one_moment
from app.store.engine import file_of, open_store
from app.store.migrations import upgrade
from app.store.photos import photos_at
from app.store.tables import RoomRow
from app.store.troubles import explained

POSTGRES = "postgresql+psycopg://USER@HOST/DATABASE"


def copy_rooms(words: argparse.Namespace) -> int:
    """Copy a room, or all, each whole or not at all."""
    source, target = _settings(words.source, words.photos), _settings(words.target, words.photos)
    if _name(source.url) == _name(target.url):
        raise DomainError("Source and target are the same database. Nothing was copied.")
    # A session of its own: it keeps seeing one moment while the target is written.
    with only_read_at(source) as here, Session(here.reader) as session:
        of_one_moment(session, here)
        if words.room is not None:
            rooms = [find(session, words.room)]
        else:
            rooms = list(session.exec(select(RoomRow).order_by(col(RoomRow.id))))
        if not rooms:
            raise DomainError("The source has no room. Nothing was copied.")
        with _written(target) as there:
            for room in rooms:
                photos = photos_at(source)
                _tell(room.key, _copied(session, Place(here, photos), there, room))
    return 0


def _copied(session: Session, here: Place, there: Place, room: RoomRow) -> Copied:
    progress = ProgressBar()
    try:
        return copy_room(session, here, there, room, utc_now(), progress)
    except OSError as error:
        raise explained(error) or error from error
    finally:
        progress.close()


def _tell(room: str, done: Copied) -> None:
    entries = counted(done.entries, "entry", "entries")
    photos = counted(done.photos, "photo")
    at_end = ""
    if done.entries:
        at_end = f" Anchor in both places: {anchor_at(done.entries, done.digest).code}."
    say(f"{room}: {entries}, each checked against the chain, and {photos}.{at_end}")
    if done.lost:
        say(f"{room}: photos already lost at the source: {done.lost:,}.")


def _settings(where: str, photos: str | None) -> Settings:
    """The settings of a place: a data folder, or the address of a server and where its photos lie.

    A data folder has its photos in it; one that has none has them where the environment says.

    Raises:
        DomainError: it is the address of another kind of database, or none.
    """
    if "://" not in where:
        found = replace(from_environment(Path(where)), database_url="")
        return replace(found, photos=None) if (Path(where) / "photos").is_dir() else found
    try:
        kind = make_url(where).drivername
    except (ArgumentError, ValueError):
        kind = ""
    if kind != "postgresql+psycopg":
        raise DomainError(
            f"“{where}” is not an address that this program knows. Name a data folder, or "
            f"PostgreSQL as {POSTGRES}."
        )
    if photos and "://" in photos:
        return replace(from_environment(), database_url=where, photos=photo_storage(photos))
    if photos:
        return replace(from_environment(Path(photos)), database_url=where, photos=None)
    return replace(from_environment(), database_url=where)


def _name(url: str) -> str:
    """What tells a database from another, by its address."""
    if file := file_of(url):
        return str(file.resolve())
    found = make_url(url)
    return f"{found.host}:{found.port or 5432}/{found.database}"


@contextmanager
def _written(settings: Settings) -> Iterator[Place]:
    """The target, in the form of this version, held against a server where it is embedded."""
    writable(settings)
    with alone(settings.url):
        store = open_store(settings.url)
        try:
            upgrade(store)
            yield Place(store, photos_at(settings))
        finally:
            store.close()
