"""What was touched on the page of a part and is not saved yet: kept over a reload, on each tablet.

It is no entry: nobody has said it yet. Each field is kept by itself, so that two tablets at one
part add to each other.
"""

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.inspections.conditions import asked
from app.domain.inspections.inspection import Look
from app.domain.roomlog.kinds.inspection_data import ANSWERS
from app.services.inspections.reading import find_inspection, find_look
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep

router = APIRouter(prefix="/rooms/{room}/inspections/{inspection}/parts/{component}/touched")
TEXTS = ("note", "no_photo")
MOST_TEXT = 2000


@router.post("")
def touched(visit: VisitDep, inspection: str, component: str, typed: FormDep) -> Response:
    """Keep one answer at the touch.

    Raises:
        FieldErrors: there is no such question or answer.
        Conflict: the inspection is signed, or the part was answered for since the page was loaded.
    """
    state = find_inspection(visit.session, visit.room_id, inspection)
    look = find_look(state, component)
    if state.is_closed or typed.get("over", "") != look.last_entry:
        raise Conflict("Somebody answered for this part meanwhile. Reload the page.")
    name, value = typed.get("name", ""), typed.get("value", "")
    if not _is_answer(look, name, value):
        raise FieldErrors([FieldError("name", "This part has no such question or answer.")])
    subject = _subject(inspection, component, look.last_entry, name)
    visit.drafts.write(visit.room_id, subject, 0, value, visit.person, visit.now)
    return Response(status_code=204)


def kept(visit: Visit, inspection: str, look: Look) -> dict[str, str]:
    """What was touched since the part was last answered for, by field."""
    folder, found = visit.drafts, {}
    for name in _names(look):
        subject = _subject(inspection, look.component, look.last_entry, name)
        draft = folder.read(visit.room_id, subject)
        if draft is not None and _is_answer(look, name, draft.content):
            found[name] = draft.content
    return found


def forget(visit: Visit, inspection: str, before: Look) -> None:
    """It was saved, as answers to what the page showed."""
    for name in _names(before):
        subject = _subject(inspection, before.component, before.last_entry, name)
        visit.drafts.drop(visit.room_id, subject)


def _names(look: Look) -> tuple[str, ...]:
    return (*(one.key for one in asked(look.part, look.when)), *TEXTS)


def _is_answer(look: Look, name: str, value: object) -> bool:
    if name in TEXTS:
        return isinstance(value, str) and len(value) <= MOST_TEXT
    return name in _names(look) and value in ANSWERS


def _subject(inspection: str, component: str, over: str, name: str) -> str:
    """No key holds a comma, so no two are the same."""
    return ",".join(("look", inspection, component, over, name))
