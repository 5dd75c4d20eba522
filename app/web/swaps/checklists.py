"""The checklist of swaps, edited by the lead: a draft is kept for the room until it is a version.

The draft lies on the server, so that a reload or another tablet goes on with it.
"""

import json
import uuid
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.calendar_words import moment_words
from app.domain.checklists.books import SWAP_CHECKLIST
from app.domain.checklists.dangers import NEEDED, Danger, changed_roles, dangers, put_back
from app.domain.checklists.roles import ROLES
from app.domain.checklists.template import (
    ASK_KINDS,
    MOST_ASKS,
    UNITS,
    as_data,
    steps_of,
)
from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.kinds.checklists import Checklist
from app.services.acts.swaps.editions import keep_checklist
from app.services.swaps.checklists import checklist, checklist_state
from app.store.drafts import StoredDraft
from app.store.site import crew
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry
from app.web.swaps.drafting import (
    Draft,
    are_steps,
    edited_step,
    new_key,
    read_draft,
    shown_step,
)

router = APIRouter(prefix="/rooms/{room}/checklist")
TEMPLATE = "swaps/checklist.html"
ASKS_SHOWN = 3
KIND_WORDS = {
    "number": "A number", "choice": "A choice", "note": "A note", "photo": "A photo",
    "second": "A second person, by a tap",
}  # fmt: skip


@router.get("")
def editor(visit: VisitDep) -> Response:
    """The draft that somebody began, else the steps as the next swap will have them."""
    return visit.page(
        TEMPLATE, _context(visit, _present(visit), "", FormState({"by": visit.person}))
    )


@router.post("")
def change(visit: VisitDep, typed: FormDep) -> Response:
    """Change the draft by one touch, or keep it as a new version."""
    do, _, key = typed.get("do", "").partition(":")
    if do == "drop":
        visit.drafts.drop(visit.room_id, SWAP_CHECKLIST)
        return RedirectResponse(visit.address("checklist"), 303)
    try:
        _refuse_stale(visit, typed)
        draft = read_draft(typed)
        if do == "keep":
            return _keep(visit, draft, typed)
        draft, open_ = _changed(draft, do, key, typed)
        _store(visit, draft)
    except StaleDraft as error:
        form = FormState(typed, {"steps": str(error)})
        return visit.page(TEMPLATE, _context(visit, _present(visit), "", form), 409)
    except FieldErrors as error:
        draft, open_ = _draft_or_present(visit, typed), typed.get("open", "")
        form = FormState(typed, error.by_field())
        return visit.page(TEMPLATE, _context(visit, draft, open_, form), 422)
    values = {"by": typed.get("by", ""), "note": typed.get("note", "")}
    values |= shown_step(next((one for one in draft if one["key"] == open_), {}))
    return visit.page(TEMPLATE, _context(visit, draft, open_, FormState(values)))


class StaleDraft(Conflict):
    """Somebody else changed, kept or dropped the draft meanwhile."""


def _stored(visit: Visit) -> StoredDraft | None:
    """The room's draft; None where none was begun or its file holds no steps."""
    found = visit.drafts.read(visit.room_id, SWAP_CHECKLIST)
    return found if found is not None and are_steps(found.content) else None


def _present(visit: Visit) -> Draft:
    """The draft that was begun, else the steps in use."""
    if (found := _stored(visit)) is not None:
        return list(found.content)
    return as_data(checklist(visit.session, visit.room_id).steps)


def _refuse_stale(visit: Visit, typed: Mapping[str, str]) -> None:
    """Two people at two drafts would take each other's work away: the second is shown the first's.

    Raises:
        StaleDraft: the draft is not the one that the page showed.
    """
    found = _stored(visit)
    if typed.get("stamp", "") == (found.stamp if found else ""):
        return
    if found is None:
        raise StaleDraft("This draft was kept or dropped meanwhile. Nothing was changed.")
    at = moment_words(found.at, visit.zone)
    raise StaleDraft(
        f"{found.by or 'Somebody'} changed this draft meanwhile, {at}. This is how it is now, "
        "without your last change. Make the change again."
    )


def _store(visit: Visit, draft: Draft) -> None:
    """Keep the draft for a reload and for other tablets, as long as it says something new."""
    present, folder = checklist(visit.session, visit.room_id), visit.drafts
    if draft == as_data(present.steps):
        folder.drop(visit.room_id, SWAP_CHECKLIST)
        return
    before = _stored(visit)
    if before is None or before.content != draft:
        version = before.version if before else present.version + 1
        folder.write(visit.room_id, SWAP_CHECKLIST, version, draft, visit.person, visit.now)


def _changed(draft: Draft, do: str, key: str, typed: Mapping[str, str]) -> tuple[Draft, str]:
    """The draft after one touch, and the step that stands open for editing.

    Raises:
        FieldErrors: a value cannot be read, or nothing can be put back into such a list.
    """
    place = next((i for i, one in enumerate(draft) if one.get("key") == key), None)
    if do == "add":
        new = {"key": new_key(draft), "title": "New step"}
        return [*draft, new], new["key"]
    if do == "back" and key in NEEDED:
        return _put_back(draft, key), ""
    if place is None or do == "edit":
        return draft, key if place is not None else ""
    if do in ("take", "remove"):
        kept = [edited_step(draft[place], typed)] if do == "take" else []
        return [*draft[:place], *kept, *draft[place + 1 :]], ""
    other = {"up": place - 1, "down": place + 1}.get(do, place)
    if 0 <= other < len(draft):
        draft[place], draft[other] = draft[other], draft[place]
    return draft, typed.get("open", "")


def _put_back(draft: Draft, role: str) -> Draft:
    try:
        return as_data(put_back(steps_of(draft), role))
    except ValueError as error:
        raise FieldErrors([FieldError("steps", str(error))]) from None


def _keep(visit: Visit, draft: Draft, typed: dict[str, str]) -> Response:
    """Keep the draft as the next version."""
    try:
        steps_of(draft)
    except ValueError as error:
        raise FieldErrors([FieldError("steps", str(error))]) from None
    version = typed.get("version", "")
    values = {**typed, "checklist": SWAP_CHECKLIST, "steps": json.dumps(draft), "version": version,
              "name": "Swap of a bath", "at": ""}  # fmt: skip
    entry = read_entry(Checklist.kind, values, visit.room, visit.person, visit.now)
    assert isinstance(entry, Checklist)
    try:
        keep_checklist(visit.store, visit.room.key, entry, visit.now, typed.get("submission"))
    except Conflict as error:
        raise FieldErrors([FieldError("steps", str(error))]) from None
    visit.drafts.drop(visit.room_id, SWAP_CHECKLIST)
    return go_on(visit.address("checklist"), entry.by)


def _draft_or_present(visit: Visit, typed: Mapping[str, str]) -> Draft:
    try:
        return read_draft(typed)
    except FieldErrors:
        return _present(visit)


def _context(visit: Visit, draft: Draft, open_: str, form: FormState) -> dict[str, Any]:
    stored, present = _stored(visit), checklist(visit.session, visit.room_id)
    state = checklist_state(visit.session, visit.room_id)
    trouble, found = "", tuple[Danger, ...]()
    try:
        steps = steps_of(draft)
        found = (*dangers(steps), *changed_roles(steps, present.steps))
    except ValueError as error:
        trouble = str(error)
    keys = {one["key"] for one in draft}
    return {
        "draft": draft,
        "draft_text": json.dumps(draft, ensure_ascii=False),
        "open": open_,
        "form": form,
        "is_changed": draft != as_data(present.steps),
        "stored": stored,
        "trouble": trouble,
        "dangers": found,
        "loose": [one for one in found if one.step not in keys],
        "version": present.version,
        "editions": reversed(state.editions) if state else (),
        "roles": {key: role.does for key, role in ROLES.items()},
        "ask_places": range(max(ASKS_SHOWN, _asks(draft, open_))),
        "kinds": [(kind, KIND_WORDS[kind]) for kind in ASK_KINDS],
        "ask_units": [(unit, unit or "no unit") for unit in UNITS],
        "leads": crew(visit.session, visit.room_id).leads,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }


def _asks(draft: Draft, open_: str) -> int:
    step = next((one for one in draft if one["key"] == open_), {})
    return min(MOST_ASKS, len(step.get("asks", ())) + 1)
