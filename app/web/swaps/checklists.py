"""The checklist of swaps, edited by the lead: a draft goes along with the page until it is kept."""

import json
import uuid
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.checklists.books import SWAP_CHECKLIST
from app.domain.checklists.template import (
    ASK_KINDS,
    MOST_ASKS,
    NEEDED,
    ROLES,
    UNITS,
    Ask,
    Step,
    as_data,
    steps_of,
)
from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.kinds.checklists import Checklist
from app.services.swaps.checklists import checklist, checklist_state, keep_checklist
from app.store.site import crew
from app.units import parse_number
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState, read_entry

router = APIRouter(prefix="/rooms/{room}/checklist")
TEMPLATE = "swaps/checklist.html"
ASKS_SHOWN = 3
KIND_WORDS = {"number": "A number", "choice": "A choice", "note": "A note", "photo": "A photo"}

Draft = list[dict[str, Any]]


@router.get("")
def editor(visit: VisitDep) -> Response:
    """The steps as the next swap will have them."""
    draft = as_data(checklist(visit.session, visit.room_id).steps)
    return visit.page(TEMPLATE, _context(visit, draft, "", FormState({"by": visit.person})))


@router.post("")
def change(visit: VisitDep, typed: FormDep) -> Response:
    """Change the draft by one touch, or keep it as a new version."""
    do, _, key = typed.get("do", "").partition(":")
    try:
        draft = _draft(typed)
        if do == "keep":
            return _keep(visit, draft, typed)
        draft, open_ = _changed(draft, do, key, typed)
    except FieldErrors as error:
        draft, open_ = _draft_or_present(visit, typed), typed.get("open", "")
        form = FormState(typed, error.by_field())
        return visit.page(TEMPLATE, _context(visit, draft, open_, form), 422)
    values = {"by": typed.get("by", ""), "note": typed.get("note", "")}
    values |= _values(next((one for one in draft if one["key"] == open_), {}))
    return visit.page(TEMPLATE, _context(visit, draft, open_, FormState(values), is_draft=True))


def _changed(draft: Draft, do: str, key: str, typed: Mapping[str, str]) -> tuple[Draft, str]:
    """The draft after one touch, and the step that stands open for editing."""
    place = next((i for i, one in enumerate(draft) if one.get("key") == key), None)
    if do == "add":
        new = {"key": _new_key(draft), "title": "New step"}
        return [*draft, new], new["key"]
    if place is None:
        return draft, ""
    if do == "edit":
        return draft, key
    if do == "take":
        draft[place] = _edited(draft[place], typed)
        return draft, ""
    if do == "remove":
        return [*draft[:place], *draft[place + 1 :]], ""
    other = {"up": place - 1, "down": place + 1}.get(do, place)
    if 0 <= other < len(draft):
        draft[place], draft[other] = draft[other], draft[place]
    return draft, typed.get("open", "")


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
    answer = RedirectResponse(visit.address("checklist"), 303)
    remember_person(answer, entry.by)
    return answer


def _edited(step: dict[str, Any], typed: Mapping[str, str]) -> dict[str, Any]:
    """A step as the form has it; its key and role stay.

    Raises:
        FieldErrors: a value cannot be read.
    """
    lines = [line.strip() for line in typed.get("confirms", "").splitlines() if line.strip()]
    found: dict[str, Any] = {
        "key": step["key"], "role": step.get("role", ""), "title": typed.get("title", "").strip(),
        "text": typed.get("text", ""), "done": typed.get("done", "").strip() or "Done",
        "is_required": bool(typed.get("is_required")), "confirms": lines,
        "asks": [_ask(typed, i) for i in range(MOST_ASKS) if typed.get(f"label_{i}", "").strip()],
    }  # fmt: skip
    if not found["title"]:
        raise FieldErrors([FieldError("title", "Give the step a title.")])
    return found


def _ask(typed: Mapping[str, str], place: int) -> dict[str, Any]:
    found: dict[str, Any] = {
        "key": typed.get(f"ask_{place}", "") or f"ask_{uuid.uuid4().hex[:8]}",
        "kind": typed.get(f"kind_{place}", ""), "label": typed[f"label_{place}"].strip(),
        "is_required": bool(typed.get(f"must_{place}")),
    }  # fmt: skip
    if found["kind"] == "number":
        found["unit"] = typed.get(f"unit_{place}", "")
        for end in ("low", "high"):
            name = f"{end}_{place}"
            if text := typed.get(name, "").strip():
                try:
                    found[end] = parse_number(text)
                except FieldError as error:
                    raise FieldErrors([FieldError(name, error.message)]) from None
    if found["kind"] == "choice":
        given = typed.get(f"choices_{place}", "").split(",")
        found["choices"] = [one.strip() for one in given if one.strip()]
    return found


def _values(step: Mapping[str, Any]) -> dict[str, str]:
    """A step of the draft as its form shows it."""
    values = {name: str(step.get(name, "")) for name in ("title", "text", "done")}
    values["is_required"] = "on" if step.get("is_required", True) else ""
    values["confirms"] = "\n".join(map(str, step.get("confirms", ())))
    for place, ask in enumerate(step.get("asks", ())):
        values |= {f"{name}_{place}": str(ask.get(name, "")) for name in ("kind", "label", "unit")}
        values |= {f"{end}_{place}": f"{ask[end]:g}" for end in ("low", "high") if end in ask}
        values[f"ask_{place}"] = ask["key"]
        values[f"choices_{place}"] = ", ".join(map(str, ask.get("choices", ())))
        values[f"must_{place}"] = "on" if ask.get("is_required", True) else ""
    return values


def _draft(typed: Mapping[str, str]) -> Draft:
    """The draft that came along with the page.

    Raises:
        FieldErrors: it is no list of steps.
    """
    try:
        found = json.loads(typed.get("draft", ""))
        is_list = isinstance(found, list) and all(map(_is_step, found))
    except (ValueError, RecursionError):
        is_list = False
    if not is_list:
        raise FieldErrors([FieldError("steps", "The draft was lost on the way. Start again.")])
    return found  # type: ignore[no-any-return]


def _is_step(one: Any) -> bool:
    """It is built as a step is, whatever it says."""
    if not isinstance(one, dict) or set(one) - set(Step.__dataclass_fields__):
        return False
    texts = [one.get("key"), one.get("title"), one.get("role", ""), one.get("text", "")]
    asks, confirms = one.get("asks", []), one.get("confirms", [])
    if not all(isinstance(text, str) for text in texts) or not isinstance(confirms, list):
        return False
    return isinstance(asks, list) and all(map(_is_ask, asks))


def _is_ask(one: Any) -> bool:
    if not isinstance(one, dict) or set(one) - set(Ask.__dataclass_fields__):
        return False
    ends = [one.get(end) for end in ("low", "high") if end in one]
    is_range = all(isinstance(end, int | float) for end in ends)
    return isinstance(one.get("key"), str) and isinstance(one.get("choices", []), list) and is_range


def _draft_or_present(visit: Visit, typed: Mapping[str, str]) -> Draft:
    try:
        return _draft(typed)
    except FieldErrors:
        return as_data(checklist(visit.session, visit.room_id).steps)


def _new_key(draft: Draft) -> str:
    keys, number = {one.get("key") for one in draft}, len(draft) + 1
    while f"step_{number}" in keys:
        number += 1
    return f"step_{number}"


def _context(
    visit: Visit, draft: Draft, open_: str, form: FormState, *, is_draft: bool = False
) -> dict[str, Any]:
    present = checklist(visit.session, visit.room_id)
    state = checklist_state(visit.session, visit.room_id)
    trouble = ""
    try:
        steps_of(draft)
    except ValueError as error:
        trouble = str(error)
    return {
        "draft": draft,
        "draft_text": json.dumps(draft, ensure_ascii=False),
        "open": open_,
        "form": form,
        "is_changed": draft != as_data(present.steps),
        "is_draft": is_draft,
        "trouble": trouble,
        "version": present.version,
        "editions": reversed(state.editions) if state else (),
        "roles": ROLES,
        "needed": NEEDED,
        "ask_places": range(max(ASKS_SHOWN, _asks(draft, open_))),
        "kinds": [(kind, KIND_WORDS[kind]) for kind in ASK_KINDS],
        "ask_units": [(unit, unit or "no unit") for unit in UNITS],
        "leads": crew(visit.session, visit.room_id).leads,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }


def _asks(draft: Draft, open_: str) -> int:
    step = next((one for one in draft if one["key"] == open_), {})
    return min(MOST_ASKS, len(step.get("asks", ())) + 1)
