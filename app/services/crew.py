"""Who is here, and that somebody may release a tank or a drum."""

from app.domain.errors import FieldError
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.site import CREW_BOOK, CrewState

LAST_LEAD = "is the last lead; without one, nobody can release a tank, a station or a drum"


def crew_problems(entry: CrewMember, present: CrewState) -> list[FieldError]:
    """Why a change among the people is refused: the room would be left without a lead."""
    after: CrewState = CREW_BOOK.apply(present, entry)
    if after.leads or not present.leads:
        return []
    field = "has_left" if entry.has_left else "role"
    return [FieldError(field, f"{entry.name} {LAST_LEAD}. Enter another lead first.")]
