"""What may lie behind a tank's readings: the page that says it, and the forms that settle it."""

import uuid
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.baths.explaining import Remedy, Said
from app.domain.errors import FieldError, FieldErrors
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.kinds import EXPLANATIONS, KINDS, ExplanationDismissed, Swap, TankChange
from app.domain.roomlog.life import Form
from app.services import door
from app.services.baths.explaining import belief_now, said_of
from app.store import queries
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, local_text, read_entry, text_of

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/explanation")
TEMPLATE = "tanks/explanation.html"
SET_RIGHT = ("tank", "area_cm2", "mass_g", "parts")  # what a correction proposes to change


@router.get("")
def explanation_page(visit: VisitDep, tank: str) -> Response:
    """What may lie behind the last readings, with what speaks for it."""
    return _page(visit, tank, FormState({"by": visit.person}))


@router.post("")
def dismiss(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Leave it as it is: it is not said again until new readings speak for it."""
    try:
        if not typed.get("by", "").strip():
            raise FieldErrors([FieldError("by", "Enter who decides this.")])
        values = {**typed, "tank": tank}
        entry = read_entry(ExplanationDismissed.kind, values, visit.room, visit.person, visit.now)
        done = door.enter(visit.store, visit.room.key, [entry], visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _page(visit, tank, FormState(typed, error.by_field()), 422)
    return go_on(f"{visit.address('tanks', tank)}?saved={done.ids[0]}", entry.by)


def href_of(visit: Visit, tank: str, act: Remedy) -> str:
    """The form that settles it, filled in as far as it is known."""
    if act.kind == TankChange.kind:
        dirty, clean = str(act.fields["tank"]), str(act.fields["pair"])
        return f"{visit.address('tanks', dirty, 'settings')}?{urlencode({'pair': clean})}"
    specs, room = KINDS[act.kind].specs(), visit.room
    known = {
        name: value
        for name, value in act.fields.items()
        if (name in SET_RIGHT if act.corrects else name != "tank")
    }
    asked = {
        name: text_of(specs[name], value, room) if name in specs else str(value)
        for name, value in known.items()
    }
    if act.corrects:
        return f"{visit.address('entries', act.corrects, 'correct')}?{urlencode(asked)}"
    if act.at is not None:
        asked["at"] = local_text(act.at, room)
    way = KINDS[act.kind].reached
    if act.kind == Swap.kind or not isinstance(way, Form):
        return f"{visit.address('tanks', tank, 'swap')}?{urlencode(asked)}#at-once"
    return f"{visit.address('tanks', tank, 'log', way.task)}?{urlencode(asked)}"


def _page(visit: Visit, tank: str, form: FormState, status: int = 200) -> Response:
    view = visit.tank(tank)
    said = said_of(visit.session, visit.room, [view], visit.now).get(tank)
    context = {
        "tank": view,
        "said": said,
        "href": href_of(visit, tank, said.act) if said else "",
        "instruments": INSTRUMENTS,
        "others": _others(visit, tank, said),
        "form": form,
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(TEMPLATE, context, status)


def _others(visit: Visit, tank: str, said: Said | None) -> list[tuple[str, float]]:
    """What else was weighed, with its chance; nothing where nothing is said."""
    belief = belief_now(visit.session, visit.room, tank, visit.now)
    if said is None or belief is None:
        return []
    words: dict[str, Any] = {"right": "the last reading is right", **EXPLANATIONS}
    return [
        (words[one.name], one.chance)
        for one in belief.explanations
        if one.chance is not None and one.name != said.name
    ]
