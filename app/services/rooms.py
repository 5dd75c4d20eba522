"""Finding a room."""

from sqlmodel import Session, select

from app.domain.errors import NotFound
from app.store.tables import RoomRow


def find_room(session: Session, key: str) -> RoomRow:
    """The room of that key.

    Raises:
        NotFound: there is none.
    """
    room = session.exec(select(RoomRow).where(RoomRow.key == key)).first()
    if room is None:
        raise NotFound(f"There is no room “{key}”.")
    return room
