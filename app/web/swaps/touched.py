"""What was typed at a step of a swap and is not ticked yet: kept over a reload and a browser that
is gone, and shown on each tablet.

It is no entry: nobody has said it yet. A point to confirm is somebody's word for what they see, so
it comes back only to whoever touched it, and not for long: then it is confirmed anew.
"""

from collections.abc import Iterator
from datetime import timedelta

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.checklists.run import SwapState
from app.domain.checklists.template import Step
from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.instruments import INSTRUMENTS
from app.domain.meters.sorts import NAMED_AS
from app.services.swaps.under_way import open_swap
from app.store.drafts import StoredDraft
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep
from app.web.swaps.forms import fields_of

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/swap")
POINTS_LAST = timedelta(minutes=15)
"""How long points that were confirmed stay so without the step (common practice, no source)."""
ALWAYS = ("note", "at")
MOST_TEXT = 2000


@router.post("/steps/{step}/touched")
def touched(visit: VisitDep, tank: str, step: str, typed: FormDep, method: str = "") -> Response:
    """Keep one field of a step at the touch. Of a step that is ticked nothing is kept: the last
    touch before the tick may arrive after it.

    Raises:
        NotFound: no swap is under way, or it has no such step.
        FieldErrors: the step has no such field.
    """
    state = _swap(visit, tank)
    found = state.step(step)
    if found is None:
        raise NotFound("This swap has no such step.")
    if state.tick(step) is not None:
        return Response(status_code=204)
    if found.role == "reading" and method in INSTRUMENTS:
        _write(visit, state, step, "method", method)
    return _keep(visit, state, found, typed, method)


@router.post("/touched")
def touched_at_close(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Keep one field of the close at the touch.

    Raises:
        NotFound: no swap is under way.
        FieldErrors: the close has no such field.
    """
    return _keep(visit, _swap(visit, tank), None, typed, "")


def kept(visit: Visit, state: SwapState, step: Step | None, method: str = "") -> dict[str, str]:
    """What was typed at a step, or at the close, and not stored yet: by field.

    Args:
        method: of a reading, as the page asks for it; empty for the one that was typed with last.
    """
    found: dict[str, str] = {}
    if step is not None and step.role == "reading":
        last = visit.drafts.read(visit.room_id, _subject(state, step.key, "method"))
        method = method or (str(last.content) if last is not None else "")
    for name in _names(visit, step, method):
        subject = _subject(state, step.key if step else "", _place(step, name, method))
        draft = visit.drafts.read(visit.room_id, subject)
        if draft is not None and draft.content and _counts(visit, state, name, draft):
            found[name] = str(draft.content)
    if found and method in INSTRUMENTS:
        found["method"] = method
    return found


def forget(visit: Visit, state: SwapState, step: Step | None) -> None:
    """It was stored."""
    folder, key = visit.drafts, step.key if step else ""
    for method in INSTRUMENTS if step is not None and step.role == "reading" else ("",):
        for name in _names(visit, step, method):
            folder.drop(visit.room_id, _subject(state, key, _place(step, name, method)))
    folder.drop(visit.room_id, _subject(state, key, "method"))


def _swap(visit: Visit, tank: str) -> SwapState:
    state = open_swap(visit.session, visit.room_id, tank)
    if state is None:
        raise NotFound("No swap with a checklist is under way at this tank.")
    return state


def _keep(
    visit: Visit, state: SwapState, step: Step | None, typed: dict[str, str], method: str
) -> Response:
    name, value = typed.get("name", ""), typed.get("value", "")
    if name not in _names(visit, step, method) or len(value) > MOST_TEXT:
        raise FieldErrors([FieldError("name", "This step has no such field.")])
    _write(visit, state, step.key if step else "", _place(step, name, method), value)
    return Response(status_code=204)


def _write(visit: Visit, state: SwapState, step: str, name: str, value: str) -> None:
    subject = _subject(state, step, name)
    visit.drafts.write(visit.room_id, subject, 0, value, visit.person, visit.now)


def _names(visit: Visit, step: Step | None, method: str) -> Iterator[str]:
    """The fields of a step, or of the close, that may be typed into."""
    yield from ALWAYS
    if step is None:
        yield "closes_drum"
        return
    yield from (f"confirm_{place}" for place in range(len(step.confirms)))
    yield from (one.name for one in fields_of(step, {}, visit.room))
    if step.role == "reading" and method in INSTRUMENTS:
        yield from INSTRUMENTS[method].fields
        yield from NAMED_AS


def _place(step: Step | None, name: str, method: str) -> str:
    """A figure of a reading is kept with its instrument: two may ask for a temperature."""
    is_read = step is not None and step.role == "reading" and method in INSTRUMENTS
    return f"{method},{name}" if is_read and name in INSTRUMENTS[method].fields else name


def _counts(visit: Visit, state: SwapState, name: str, draft: StoredDraft) -> bool:
    """A point counts for whoever touched it, for a while, and not past a stop of the swap."""
    if not name.startswith("confirm_") and name != "closes_drum":
        return True
    stopped = max((one.at for one in state.said), default=draft.at)
    is_new = visit.now - draft.at <= POINTS_LAST and stopped <= draft.at
    return is_new and bool(visit.person) and draft.by == visit.person


def _subject(state: SwapState, step: str, name: str) -> str:
    """No key holds a comma, so no two are the same."""
    return ",".join(("step", state.key, step, name))
