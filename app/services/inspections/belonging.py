"""In which rooms a photo opens: where it came to, and where the log names it."""

import json
from collections.abc import Collection, Iterator, Mapping

from sqlmodel import Session

from app.domain.errors import FieldError
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import PHOTO_RULES
from app.domain.roomlog.lines import own_fields
from app.services.transaction import write
from app.store.engine import Store
from app.store.photos import PhotoFolder
from app.store.room_photos import (
    has_photo,
    is_elsewhere,
    not_of,
    note_photos,
    rooms_with_photos,
    strippable,
)
from app.store.things import thing

NOT_OURS = "There is no such photo in this room. Add the file on the page of what it shows."
OF_ANOTHER = "This photo belongs to another room."


def photo_problems(session: Session, room_id: int, entry: Entry) -> list[FieldError]:
    """Fields of an entry that name a photo which this room does not have.

    An entry opens what it names, so a name alone must not do.
    """
    return [
        FieldError(name, NOT_OURS)
        for name, value in {**own_fields(entry), "note": entry.note}.items()
        if not_of(session, room_id, json.dumps({name: value}))
    ]


def foreign_photos(
    session: Session, room_id: int, entries: Mapping[int, Entry]
) -> Iterator[tuple[int, FieldError]]:
    """Lines of a file that name a photo which another room has and this one does not."""
    for line, entry in entries.items():
        for name, value in {**own_fields(entry), "note": entry.note}.items():
            named = not_of(session, room_id, json.dumps({name: value}))
            if any(is_elsewhere(session, room_id, one) for one in named):
                yield line, FieldError(name, OF_ANOTHER)


def receive(store: Store, session: Session, room_id: int, photos: Collection[str]) -> None:
    """Note that photos came to a room, so that its pages show them before an entry names them."""
    if all(has_photo(session, room_id, one) for one in photos):
        return
    with write(store) as writing:
        note_photos(writing, room_id, photos)


def keeps_originals(session: Session, room_id: int) -> bool:
    """Whether a room keeps the originals of its photos, as it does until a lead says otherwise."""
    rules = thing(session, room_id, PHOTO_RULES, PHOTO_RULES)
    return rules is None or rules.keep_originals


def strip(session: Session, folder: PhotoFolder, room_id: int) -> int:
    """Delete the originals of a room's photos that no room which keeps them has; how many."""
    keeping = [one for one in rooms_with_photos(session) if keeps_originals(session, one)]
    return folder.drop_originals(strippable(session, room_id, keeping))
