"""What was learned of a room's instruments."""

from sqlmodel import Session

from app.domain.baths.estimator import Passport
from app.services.baths.states import load_filter
from app.services.caching import kept
from app.store.tables import RoomRow


def passports(session: Session, room: RoomRow) -> tuple[Passport, ...]:
    """Of every instrument that was read in the room, in the order of the forms."""
    assert room.id is not None
    return kept(
        session, room.id, "instruments", room.version,
        lambda: load_filter(session, room).passports(),
    )  # fmt: skip


def passport_at(session: Session, room: RoomRow, channel: str, tank: str) -> Passport | None:
    """Of the instrument as it is used at a tank; None where it was never read."""
    found = (
        one for one in passports(session, room)
        if one.channel == channel and one.tank in (None, tank)
    )  # fmt: skip
    return next(found, None)
