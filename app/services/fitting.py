"""Whether entries fit the room that they are meant for: its tanks, its resins, its time."""

import uuid
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from sqlmodel import Session

from app.domain.errors import FieldErrors
from app.domain.roomlog.checks import RoomContext, misfits, not_ahead
from app.domain.roomlog.kinds import Entry, Resin
from app.services.definitions import context
from app.services.entries import stored_ids


def fitting(
    session: Session,
    room_id: int,
    entries: Sequence[Entry],
    now: datetime,
    known: RoomContext | None = None,
) -> list[tuple[int, Entry]]:
    """The entries that are not there yet, with their places among those given, and with ids.

    They may name what `known` knows besides what the room does. What a fast clock put ahead, and
    would cover what is entered next, is entered at `now`.

    Raises:
        FieldErrors: one does not fit the room.
    """
    seen = stored_ids(session, room_id, [entry.id for entry in entries])
    fresh = []
    for place, entry in enumerate(entries):
        if not entry.id or entry.id not in seen:
            seen.add(entry.id)
            fresh.append((place, not_ahead(entry, now)))
    room = context(session, room_id)
    room.add(known or RoomContext())
    for place, entry in fresh:
        if isinstance(entry, Resin) and (errors := misfits(entry, room, now)):
            raise FieldErrors(errors, place)  # one too many, before it is known
        room.learn(entry)
    for place, entry in fresh:
        if errors := misfits(entry, room, now):
            raise FieldErrors(errors, place)
    return [
        (place, entry if entry.id else replace(entry, id=uuid.uuid4().hex))
        for place, entry in fresh
    ]
