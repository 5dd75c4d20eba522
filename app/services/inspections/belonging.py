"""In which rooms a photo opens: where it came to, and where the log names it."""

from collections.abc import Collection

from sqlmodel import Session

from app.domain.roomlog.kinds.inspections import PHOTO_RULES
from app.services.transaction import write
from app.store.engine import Store
from app.store.photos import Photos
from app.store.room_photos import has_photo, note_photos, rooms_with_photos, strippable
from app.store.things import thing


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


def strip(session: Session, folder: Photos, room_id: int) -> int:
    """Delete the originals of a room's photos that no room which keeps them has; how many."""
    keeping = [one for one in rooms_with_photos(session) if keeps_originals(session, one)]
    return folder.drop_originals(strippable(session, room_id, keeping))
