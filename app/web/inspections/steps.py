"""One part of an inspection: what is seen, with photos, and what follows from it."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldErrors
from app.domain.inspections.components import ComponentState
from app.domain.inspections.conditions import asked
from app.domain.inspections.inspection import InspectionState, Look
from app.domain.inspections.rules import NEEDS_PHOTO, answer_problems
from app.domain.inspections.terms import VERDICT_NAMES
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.inspection_data import ANSWERS, DECISIONS
from app.domain.roomlog.kinds.inspections import COMPONENT, InspectionAnswered, InspectionPhoto
from app.domain.roomlog.kinds.supplies import ITEM
from app.services.acts.inspections import answer as store_answer
from app.services.authorship import OWN_MINUTES, is_own, own_until
from app.services.harm import may_light
from app.services.inspections.lifting import holding_entry
from app.services.inspections.photos import reads_heic
from app.services.inspections.reading import find_inspection, find_look
from app.store.photo_history import photo_history
from app.store.site import crew
from app.store.things import thing, things
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormState, read_entry
from app.web.inspections.inspection import hold_of, mates_of, shared
from app.web.inspections.photo_forms import (
    MOST_AT_ONCE,
    USUAL_VIEW,
    VIEW_WORDS,
    PhotoFormDep,
    take_in,
)
from app.web.inspections.touched import forget, kept

router = APIRouter(prefix="/rooms/{room}/inspections/{inspection}/parts/{component}")
TEMPLATE = "inspections/step.html"
EARLIER = 6


@router.get("")
def step(visit: VisitDep, inspection: str, component: str) -> Response:
    """The questions of one part, each with its drawing."""
    return part_page(visit, inspection, component, {})


@router.post("")
def answer(visit: VisitDep, inspection: str, component: str, sent: PhotoFormDep) -> Response:
    """Store the answers with their photos; what does not fit is said beside its field."""
    look = find_look(find_inspection(visit.session, visit.room_id, inspection), component)
    taken = take_in(visit, sent)
    typed = dict(sent.values) | {f"view_{photo}": view for photo, view in taken.views.items()}
    typed["kept_photos"] = ",".join(taken.views)
    answers = {
        one.key: typed[one.key]
        for one in asked(look.part, look.when)
        if typed.get(one.key) in ANSWERS
    }
    errors = {
        error.field: error.message for error in answer_problems(look.part, answers, look.when)
    }
    if taken.problem:
        errors["photos"] = taken.problem
    if errors:
        form = {"answer": FormState(typed, errors)}
        return part_page(visit, inspection, component, form, 422)
    base = {**typed, "inspection": inspection, "component": component}
    try:
        kept = {"answers": answers}
        entry = read_entry(InspectionAnswered.kind, base, visit.room, visit.person, visit.now, kept)
        assert isinstance(entry, InspectionAnswered)
        photos = [_photo(visit, base, entry, *one) for one in taken.views.items()]
        key, over = typed.get("submission"), typed.get("over")
        store_answer(visit.store, visit.room.key, entry, photos, visit.now, key, over)
        forget(visit, inspection, look)
    except FieldErrors as error:
        form = {"answer": FormState(typed, error.by_field())}
        return part_page(visit, inspection, component, form, 422)
    return go_on(_after(visit, inspection, component), entry.by)


def _photo(
    visit: Visit, base: dict[str, str], entry: Entry, photo: str, view: str
) -> InspectionPhoto:
    fields = {
        "inspection": base["inspection"], "component": base["component"], "photo": photo,
        "view": view, "by": entry.by,
    }  # fmt: skip
    made = read_entry(InspectionPhoto.kind, fields, visit.room, visit.person, visit.now)
    assert isinstance(made, InspectionPhoto)
    return made


def _after(visit: Visit, inspection: str, component: str) -> str:
    """Where to go next: stay where something is to be done, else the next part that is left."""
    at = visit.address("inspections", inspection)
    visit.session.rollback()  # read what has just been stored
    state = find_inspection(visit.session, visit.room_id, inspection)
    if find_look(state, component).decided != "serviceable":
        return f"{at}/parts/{component}?saved={component}"
    following = _next_left(state, component)
    return f"{at}/parts/{following}?saved={component}" if following else f"{at}?saved={component}"


def _next_left(state: InspectionState, component: str) -> str:
    """The next part behind this one that nobody answered for, from the first again at the end."""
    keys = [look.component for look in state.looks]
    place = keys.index(component)
    left = {look.component for look in state.left}
    return next((key for key in keys[place + 1 :] + keys[:place] if key in left), "")


def part_page(
    visit: Visit, inspection: str, component: str, given: dict[str, FormState], status: int = 200
) -> Response:
    """The page of one part, with what was typed in the form that is given."""
    state = find_inspection(visit.session, visit.room_id, inspection)
    look = find_look(state, component)
    position = thing(visit.session, visit.room_id, COMPONENT, component)
    earlier = photo_history(visit.session, visit.room_id, component, limit=EARLIER + 40)
    shelf = lots_of(visit, look.part, position.item if position else "")
    because = "finding" if look.decided in NEEDS_PHOTO else "planned"
    if visit.request.query_params.get("because") == "mate":
        because = "mate"
    answers = {} if look.is_replaced else look.answers  # those were of the part before
    blank = {**answers, "by": visit.person, "note": look.note, "no_photo": look.no_photo}
    touched = {} if state.is_closed else kept(visit, inspection, look)
    form = given.get("answer") or FormState({**blank, **touched})
    saved = visit.request.query_params.get("saved", "")
    context: dict[str, Any] = {
        "inspection": state,
        "look": look,
        "number": 1 + [one.component for one in state.looks].index(component),
        "next": state.look(_next_left(state, component)),
        "asked": asked(look.part, look.when),
        "form": form,
        "is_touched": bool(touched),
        "kept_photos": [p for p in form.value("kept_photos").split(",") if p],
        "undo_form": given.get("undo") or FormState(),
        "own": _own(visit, look),
        "hold": hold_of(visit, state),
        "overrule_form": given.get("overrule") or FormState(),
        "fit_form": given.get("fit") or FormState({"because": because, "item_lot": shelf[0][0]}),
        "earlier": [one for one in earlier if one.inspection != state.key][:EARLIER],
        "position": position,
        "wants_part": _wants_part(position, state),
        "mate": mate_of(state, position),
        "with_mate": mates_of(visit, state),
        "others": crew(visit.session, visit.room_id).here,
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "view_options": VIEW_WORDS,
        "usual_view": USUAL_VIEW,
        "most_at_once": MOST_AT_ONCE,
        "is_heic_read": reads_heic(),
        "warns_of_devices": may_light(visit.session, visit.room, state.tank),
        "verdict_options": [(key, VERDICT_NAMES[key]) for key in DECISIONS if key != look.verdict],
        "shelf": shelf,
        "saved": state.look(saved),
        "submission": uuid.uuid4().hex,
        **shared(visit),
    }
    return visit.page(TEMPLATE, context, status)


def _wants_part(position: ComponentState | None, state: InspectionState) -> bool:
    """A new part is still asked for by this look: it can be fitted once the look is signed too."""
    standing = position.standing if position is not None else None
    return (
        standing is not None
        and standing.inspection == state.key
        and standing.verdict in NEEDS_PHOTO
    )


def _own(visit: Visit, look: Look) -> dict[str, Any]:
    """Who said what holds a place, until when they take it back alone, and if that is this one."""
    if look.decided != "take_out_of_service":
        return {}
    entry = holding_entry(look)
    who, until = own_until(visit.session, visit.room_id, entry)
    is_mine = is_own(visit.session, visit.room_id, entry, visit.person, visit.now)
    return {"who": who, "until": until, "is_own": is_mine, "minutes": OWN_MINUTES}


def mate_of(state: InspectionState, position: Any) -> Look | None:
    """The look at the part that is replaced together with this one."""
    return state.look(position.mate) if position is not None and position.mate else None


def lots_of(visit: Visit, kind: str, usual: str) -> list[tuple[str, str]]:
    """Parts on the shelf that may fit, by good lot: the usual item of this position first, then
    those of other places of its kind, then those of no place. What belongs to another kind of part
    is left out."""
    shelf = things(visit.session, visit.room_id, ITEM).values()
    kinds: dict[str, set[str]] = {}
    for one in things(visit.session, visit.room_id, COMPONENT).values():
        if one.item:
            kinds.setdefault(one.item, set()).add(one.part)
    parts = [
        item
        for item in shelf
        if item.category == "part" and item.on_hand >= 1 and kind in kinds.get(item.key, {kind})
    ]
    parts.sort(key=lambda item: (item.key != usual, item.key not in kinds, item.name))
    found = [
        (f"{item.key}|{lot.lot}", f"{item.name}, lot {lot.lot} ({lot.quantity:g} left)")
        for item in parts
        for lot in item.lots
        if lot.quantity >= 1 and lot.standing(item.rules, visit.today) == "good"
    ]
    return [*found, ("", "Not from the shelf")]
