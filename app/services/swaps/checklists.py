"""The checklist of swaps: which version is in use, and keeping a new one."""

from sqlmodel import Session

from app.domain.checklists.books import SWAP_CHECKLIST, ChecklistState, template_of
from app.domain.checklists.template import Template
from app.domain.errors import FieldError
from app.domain.roomlog.kinds.checklists import CHECKLIST, Checklist
from app.store.site import crew
from app.store.things import thing


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
    present = checklist(session, room_id).version
    if edition.version != present + 1:
        message = f"Somebody kept version {present} meanwhile. Load the page again."
        errors.append(FieldError("version", message))
    return errors


def lead_problems(session: Session, room_id: int, name: str) -> list[FieldError]:
    """Why somebody may not do what only a lead may; empty where they may."""
    leads = crew(session, room_id).leads
    if not leads:
        return [FieldError("by", "No lead is entered yet: see “People and roles” in the menu.")]
    if name not in leads:
        return [FieldError("by", f"Only a lead may do this: {', '.join(leads)}.")]
    return []
