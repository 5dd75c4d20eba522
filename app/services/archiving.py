"""Rooms that are out of use: what archives one, what restores it, and what is refused meanwhile.

What was poured, held and signed in it stays to be read, until a manager deletes an archived room.
"""

from collections.abc import Sequence

from sqlmodel import Session

from app.domain.errors import Conflict, FieldError
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.site import ClockConfirmed, RoomArchived, RoomRestored
from app.services.incidents.holds import lead_problems
from app.store.site import archive, crew
from app.store.tables import RoomRow
from app.store.things import things

OPEN = {
    "drum": ("1 waste drum is still here", "{} waste drums are still here"),
    "pickup": ("1 pickup is still open", "{} pickups are still open"),
    "swap": ("1 swap is under way", "{} swaps are under way"),
    "incident": ("1 problem is open", "{} problems are open"),
    "hold": ("1 tank is held", "{} tanks are held"),
}
"""What somebody has to see to, by the word of the thing: nobody looks at an archived room."""


class RoomIsArchived(Conflict):
    """Nothing is entered in a room that is out of use."""

    def __init__(self, name: str) -> None:
        super().__init__(f"“{name}” is archived. Restore it first. Nothing was stored.")


def require_in_use(session: Session, room: RoomRow, entries: Sequence[Entry] = ()) -> None:
    """Let nothing into an archived room but the word that restores it, and that the date is right.

    Raises:
        RoomIsArchived: it is.
    """
    if entries and all(isinstance(entry, RoomRestored | ClockConfirmed) for entry in entries):
        return
    if archive(session, room.id or 0).is_archived:
        raise RoomIsArchived(room.name)


def archiving_problems(
    session: Session, room: RoomRow, entry: RoomArchived | RoomRestored
) -> list[FieldError]:
    """Why a room is not archived or restored: whose word it is, its name, what is open in it."""
    assert room.id is not None
    found = []
    if crew(session, room.id).leads:
        found += lead_problems(session, room.id, entry.lead or "")
    if isinstance(entry, RoomRestored):
        if not archive(session, room.id).is_archived:
            found.append(FieldError("archive", "This room is already in use."))
        return found
    if entry.room_name.strip() != room.name:
        found.append(FieldError("room_name", f"Type the room's name exactly: {room.name}."))
    if still := still_open(session, room.id):
        message = f"{'; '.join(still)}. Deal with that first. Nobody looks at an archived room."
        found.append(FieldError("archive", message))
    return found


def still_open(session: Session, room_id: int) -> list[str]:
    """What somebody has to see to before a room can be archived, in words."""
    found = []
    for thing, (one, more) in OPEN.items():
        count = len(things(session, room_id, thing, only_open=True))
        if count:
            found.append(one if count == 1 else more.format(count))
    return found
