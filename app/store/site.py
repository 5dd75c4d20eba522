"""Reading what the site works by, and its people."""

from sqlmodel import Session

from app.domain.roomlog.kinds.site import ARCHIVE, CREW, SITE
from app.domain.site import ArchiveState, CrewState, SiteState
from app.store.people import signed_in_crew
from app.store.things import thing


def site(session: Session, room_id: int) -> SiteState:
    """The site's settings; the defaults where it has set none."""
    return thing(session, room_id, SITE, SITE) or SiteState()


def crew(session: Session, room_id: int) -> CrewState:
    """The people of the site who sign in; where none are asked to, those entered in the room."""
    return signed_in_crew(session) or thing(session, room_id, CREW, CREW) or CrewState()


def archive(session: Session, room_id: int) -> ArchiveState:
    """Whether the room is out of use, and since when."""
    return thing(session, room_id, ARCHIVE, ARCHIVE) or ArchiveState()
