"""Whose a photo is: it opens in the rooms that it came to or whose log names it, in no other."""

from collections.abc import Collection, Iterable
from functools import cache
from importlib import import_module
from typing import Any

from sqlalchemy import select as sql_select
from sqlmodel import Session, select

from app.store.backups import photos_in
from app.store.photo_tables import RoomPhotoRow

_TABLE: Any = RoomPhotoRow.__table__  # type: ignore[attr-defined]


def has_photo(session: Session, room_id: int, photo: str) -> bool:
    """Whether a photo is one of this room's."""
    return session.get(RoomPhotoRow, (room_id, photo)) is not None


def note_photos(session: Session, room_id: int, photos: Iterable[str]) -> None:
    """Note that a room has photos; what it has already stays."""
    rows = [{"room_id": room_id, "photo": one} for one in sorted(set(photos))]
    if rows:
        session.execute(_insert(session.get_bind().dialect.name), rows)


def not_of(session: Session, room_id: int, fields: str) -> set[str]:
    """The photos that fields name, as they are stored, and that are not this room's."""
    named = photos_in(fields) if "photo" in fields else set[str]()
    return {one for one in named if not has_photo(session, room_id, one)}


def is_elsewhere(session: Session, room_id: int, photo: str) -> bool:
    """Whether a photo is another room's."""
    query = select(RoomPhotoRow.room_id).where(
        RoomPhotoRow.photo == photo, RoomPhotoRow.room_id != room_id
    )
    return session.exec(query.limit(1)).first() is not None


def note_named(session: Session, room_id: int, fields: Iterable[str]) -> None:
    """Note the photos that entries of a room name, by their fields as they are stored."""
    found = set[str]()
    for text in fields:
        if "photo" in text:
            found |= photos_in(text)
    note_photos(session, room_id, found)


def own_photos(session: Session, room_id: int) -> set[str]:
    """The photos that only this room has."""
    return _without(session, room_id, None)


def strippable(session: Session, room_id: int, keeping: Collection[int]) -> set[str]:
    """The photos of a room that none of those which keep originals has as well."""
    return _without(session, room_id, [one for one in keeping if one != room_id])


def rooms_with_photos(session: Session) -> list[int]:
    """The rooms that have any."""
    return list(session.exec(select(RoomPhotoRow.room_id).distinct()))


def _without(session: Session, room_id: int, others: Collection[int] | None) -> set[str]:
    mine, theirs = _TABLE.alias(), _TABLE.alias()
    whose = theirs.c.room_id != room_id if others is None else theirs.c.room_id.in_(others)
    elsewhere = sql_select(theirs.c.photo).where(theirs.c.photo == mine.c.photo, whose).exists()
    query = sql_select(mine.c.photo).where(mine.c.room_id == room_id, ~elsewhere)
    return set(session.execute(query).scalars())


@cache
def _insert(dialect: str) -> Any:
    new = import_module(f"sqlalchemy.dialects.{dialect}").insert(_TABLE)  # each takes its time
    return new.on_conflict_do_nothing()
