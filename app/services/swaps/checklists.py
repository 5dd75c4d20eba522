"""The checklist of swaps: which version is in use, and keeping a new one."""

from collections.abc import Sequence

from sqlmodel import Session

from app.domain.checklists.books import SWAP_CHECKLIST, ChecklistState, template_of
from app.domain.checklists.dangers import changed_roles, dangers
from app.domain.checklists.template import Step, Template, restored_steps
from app.domain.errors import FieldError
from app.domain.roomlog.kinds.checklists import CHECKLIST, Checklist
from app.store.site import crew
from app.store.things import thing

DANGEROUS = "a checklist leads nobody into harm"


def checklist(session: Session, room_id: int) -> Template:
    """The checklist that the next swap begins with."""
    return template_of(checklist_state(session, room_id))


def checklist_state(session: Session, room_id: int) -> ChecklistState | None:
    """The room's own checklist; None while it works by the default."""
    state: ChecklistState | None = thing(session, room_id, CHECKLIST, SWAP_CHECKLIST)
    return state


def edition_problems(session: Session, room_id: int, edition: Checklist) -> list[FieldError]:
    """Why a version of the checklist is refused; empty where it may be kept."""
    errors = lead_problems(session, room_id, edition.by)
    present, steps = checklist(session, room_id), restored_steps(edition.steps)
    if edition.version != present.version + 1:
        message = f"Somebody kept version {present.version} meanwhile. Reload the page."
        errors.append(FieldError("version", message))
    found = (*dangers(steps), *changed_roles(steps, present.steps))
    return errors + [FieldError("steps", one.message, DANGEROUS) for one in found]


def opening_problems(steps: Sequence[Step]) -> list[FieldError]:
    """Why no swap is begun with a list; empty where it may be.

    A list that was kept before the program knew what is dangerous in it is mended first.
    """
    found = dangers(steps)
    if not found:
        return []
    message = f"A lead must fix the checklist first, under “Checklist of swaps”. {found[0].message}"
    return [FieldError("steps", message, DANGEROUS)]


def lead_problems(session: Session, room_id: int, name: str) -> list[FieldError]:
    """Why somebody may not do what only a lead may; empty where they may."""
    leads = crew(session, room_id).leads
    if not leads:
        return [FieldError("by", "No lead is entered yet: see “People and roles” in the menu.")]
    if name not in leads:
        return [FieldError("by", f"Only a lead may do this: {', '.join(leads)}.")]
    return []
