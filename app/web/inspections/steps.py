"""One part of an inspection: what is seen, with photos; decided otherwise; a new part fitted."""

import uuid
from collections.abc import Callable
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors, NotFound
from app.domain.inspections.conditions import CONDITIONS
from app.domain.inspections.inspection import InspectionState
from app.domain.inspections.rules import answer_problems
from app.domain.inspections.terms import VERDICT_NAMES
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspections import (
    ANSWERS,
    COMPONENT,
    ComponentReplaced,
    InspectionAnswered,
    InspectionOverruled,
    InspectionPhoto,
)
from app.domain.roomlog.kinds.supplies import ITEM
from app.services import roomlog
from app.services.inspections import inspections as service
from app.store.photo_history import photo_history
from app.store.site import crew
from app.store.things import thing, things
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState, read_entry
from app.web.inspections.inspection import shared
from app.web.inspections.photos import VIEWS, PhotoFormDep, take_in

router = APIRouter(prefix="/rooms/{room}/inspections/{inspection}/parts/{component}")
TEMPLATE = "inspections/step.html"
EARLIER = 6


@router.get("")
def step(visit: VisitDep, inspection: str, component: str) -> Response:
    """The questions of one part, each with its drawing."""
    state = service.find_inspection(visit.session, visit.room_id, inspection)
    look = service.find_look(state, component)
    values = {**look.answers, "by": visit.person, "note": look.note, "no_photo": look.no_photo}
    return _page(visit, state, component, {"answer": FormState(values)})


@router.post("")
def answer(visit: VisitDep, inspection: str, component: str, sent: PhotoFormDep) -> Response:
    """Store the answers with their photos; what does not fit is said beside its field."""
    state = service.find_inspection(visit.session, visit.room_id, inspection)
    look = service.find_look(state, component)
    typed = dict(sent.values)
    found, photo_error = take_in(visit, sent)
    typed["kept_photos"] = ",".join(found)
    answers = {
        one.key: typed[one.key] for one in CONDITIONS[look.part] if typed.get(one.key) in ANSWERS
    }
    errors = {error.field: error.message for error in answer_problems(look.part, answers)}
    if photo_error:
        errors["photos"] = photo_error
    try:
        if errors:
            form = FormState(typed, errors)
            return _page(visit, state, component, {"answer": form}, 422)
        base = {**typed, "inspection": inspection, "component": component}
        kept = {"answers": answers}
        entry = read_entry(InspectionAnswered.kind, base, visit.room, visit.person, visit.now, kept)
        photos = [_photo(visit, base, entry, photo) for photo in found]
        assert isinstance(entry, InspectionAnswered)
        key = typed.get("submission")
        service.answer(visit.store, visit.room.key, entry, photos, visit.now, key)
    except FieldErrors as error:
        form = FormState(typed, error.by_field())
        return _page(visit, state, component, {"answer": form}, 422)
    reply = RedirectResponse(_after(visit, inspection, component), 303)
    if entry.by:
        remember_person(reply, entry.by)
    return reply


def _photo(visit: Visit, base: dict[str, str], entry: Entry, photo: str) -> InspectionPhoto:
    fields = {
        "inspection": base["inspection"], "component": base["component"], "photo": photo,
        "view": base.get("view") or "close", "by": entry.by,
    }  # fmt: skip
    made = read_entry(InspectionPhoto.kind, fields, visit.room, visit.person, visit.now)
    assert isinstance(made, InspectionPhoto)
    return made


@router.post("/overrule")
def overrule(visit: VisitDep, inspection: str, component: str, typed: FormDep) -> Response:
    """A lead decides otherwise, with a reason."""
    kind, do = InspectionOverruled.kind, service.overrule
    return _store(visit, inspection, component, "overrule", kind, typed, do)


@router.post("/replace")
def fit(visit: VisitDep, inspection: str, component: str, typed: FormDep) -> Response:
    """A new part is fitted, from the shelf where an item is named."""
    kind, do = ComponentReplaced.kind, service.fit_part
    sent = typed | {"because": typed.get("because") or "finding"}
    if "|" in sent.get("item_lot", ""):  # keys hold no bar
        sent["item"], _, sent["lot"] = sent["item_lot"].partition("|")
    return _store(visit, inspection, component, "fit", kind, sent, do)


@router.post("/undo")
def undo(visit: VisitDep, inspection: str, component: str, typed: FormDep) -> Response:
    """An answer, a photo or a lead's decision was wrong: taken back, it stays in the history."""
    state = service.find_inspection(visit.session, visit.room_id, inspection)
    look = service.find_look(state, component)
    entry = typed.get("entry", "")
    mine = {look.entry, look.overrule_entry, *(photo.entry for photo in look.photos)} - {""}
    if state.is_closed or entry not in mine:
        raise NotFound("This was taken back already, or is signed. Load the page again.")
    why = "Taken back at the inspection"
    roomlog.withdraw(visit.store, visit.room.key, entry, visit.person, why, visit.now, None)
    to = visit.address("inspections", inspection, "parts", component)
    return RedirectResponse(to, 303)


def _store(
    visit: Visit, inspection: str, component: str, form: str, kind: str, typed: dict[str, str],
    do: Callable[..., roomlog.Recorded],
) -> Response:  # fmt: skip
    state = service.find_inspection(visit.session, visit.room_id, inspection)
    try:
        sent = {**typed, "inspection": inspection, "component": component}
        entry = read_entry(kind, sent, visit.room, visit.person, visit.now)
        do(visit.store, visit.room.key, entry, visit.now, typed.get("submission"))
    except FieldErrors as error:
        shown = {form: FormState(typed, error.by_field())}
        return _page(visit, state, component, shown, 422)
    to = visit.address("inspections", inspection, "parts", component)
    return RedirectResponse(f"{to}#decided", 303)


def _after(visit: Visit, inspection: str, component: str) -> str:
    """Where to go next: stay where something is to be done, else the next part."""
    with_state = visit.address("inspections", inspection)
    visit.session.rollback()  # read what has just been stored
    state = service.find_inspection(visit.session, visit.room_id, inspection)
    look = service.find_look(state, component)
    if look.decided != "serviceable":
        return f"{with_state}/parts/{component}?saved=1#decided"
    if state.left:
        return f"{with_state}/parts/{state.left[0].component}?saved=1"
    return with_state


def _page(
    visit: Visit, state: InspectionState, component: str, given: dict[str, FormState],
    status: int = 200,
) -> Response:  # fmt: skip
    look = service.find_look(state, component)
    blank = {**look.answers, "by": visit.person, "note": look.note, "no_photo": look.no_photo}
    place = [one.component for one in state.looks].index(component)
    position = thing(visit.session, visit.room_id, COMPONENT, component)
    earlier = photo_history(visit.session, visit.room_id, component, limit=EARLIER + 40)
    shelf = _lots(visit, position.item if position else "")
    because = "mate" if visit.request.query_params.get("because") == "mate" else "finding"
    answer_form = given.get("answer") or FormState(blank)
    context: dict[str, Any] = {
        "inspection": state,
        "look": look,
        "number": place + 1,
        "next": state.looks[place + 1].component if place + 1 < len(state.looks) else "",
        "previous": state.looks[place - 1].component if place else "",
        "asked": CONDITIONS[look.part],
        "form": answer_form,
        "kept_photos": [p for p in answer_form.value("kept_photos").split(",") if p],
        "overrule_form": given.get("overrule") or FormState(),
        "fit_form": given.get("fit") or FormState({"because": because, "item_lot": shelf[0][0]}),
        "earlier": [one for one in earlier if one.inspection != state.key][:EARLIER],
        "position": position,
        "mate": state.look(position.mate) if position and position.mate else None,
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "view_options": list(VIEWS),
        "verdict_options": list(VERDICT_NAMES.items()),
        "shelf": shelf,
        "was_saved": "saved" in visit.request.query_params,
        "submission": uuid.uuid4().hex,
        **shared(visit),
    }
    return visit.page(TEMPLATE, context, status)


def _lots(visit: Visit, usual: str) -> list[tuple[str, str]]:
    """Parts on the shelf by lot, the usual item of this position first."""
    shelf = things(visit.session, visit.room_id, ITEM).values()
    parts = [item for item in shelf if item.category == "part" and item.on_hand >= 1]
    parts.sort(key=lambda item: (item.key != usual, item.name))
    found = [
        (f"{item.key}|{lot.lot}", f"{item.name}, lot {lot.lot} ({lot.quantity:g} left)")
        for item in parts
        for lot in item.lots
        if lot.quantity >= 1
    ]
    return [*found, ("", "Not from the shelf")]
