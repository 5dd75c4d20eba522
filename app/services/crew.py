"""Who is here, and that somebody may release a tank or a drum."""

from app.domain.errors import FieldError
from app.domain.roomlog.kinds.site import CrewMember
from app.domain.site import CREW_BOOK, CrewState

MAY_NAME = ("lead", "manager")
WHO = "Choose who enters this."
LAST_LEAD = "is the last lead; without one, nobody can release a tank, a station or a drum"


def who_names_leads(present: CrewState) -> list[str]:
    """Who may enter or change a lead; empty where anybody may, since there is no lead yet."""
    return namers(present) if present.leads else []


def namers(crew: CrewState) -> list[str]:
    """Leads and managers here."""
    return [name for name, _ in roles_of_namers(crew)]


def roles_of_namers(crew: CrewState) -> tuple[tuple[str, str], ...]:
    """Leads and managers here with what each is: a manager releases nothing, so that a lead who is
    made one is a lead less."""
    return tuple(
        (one.name, one.role) for one in crew.people if not one.has_left and one.role in MAY_NAME
    )


def crew_problems(entry: CrewMember, present: CrewState) -> list[FieldError]:
    """Why a change among the people is refused: nobody makes themself a lead where there is one,
    and the room is not left without. A manager may name them, as a lead may."""
    after: CrewState = CREW_BOOK.apply(present, entry)
    field = "has_left" if entry.has_left else "role"
    if not present.leads or roles_of_namers(after) == roles_of_namers(present):
        return []
    may = who_names_leads(present)
    if entry.by.strip().casefold() not in {name.casefold() for name in may}:
        message = f"Only a lead or manager can enter or change one: {', '.join(may)}. {WHO}"
        return [FieldError(field, message, "a lead names a lead")]
    if after.leads:
        return []
    return [FieldError(field, f"{entry.name} {LAST_LEAD}. Enter another lead first.")]
