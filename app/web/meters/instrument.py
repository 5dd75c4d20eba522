"""An instrument of the room: added, and its page with its book."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds.instruments import INSTRUMENT, InstrumentAdded
from app.domain.roomlog.life import Form
from app.services.duties.calibrations import standing_of
from app.services.meters.book import find_instrument, instrument_problems, instruments
from app.store import queries
from app.store.log import LoggedEntry
from app.store.things import book
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, key_of_new, read_entry
from app.web.kinds.body import fields_of
from app.web.kinds.places import links_at
from app.web.meters import words
from app.web.telling import LogLine, line_of, lines_of

router = APIRouter(prefix="/rooms/{room}/instruments")
LOG_LINES = 60
ROWS = (
    ("name", "sort"), ("serial", "of_tank"), ("offset", "uncertainty"), ("calibrated_on", "due_on"),
    ("certificate",),
)  # fmt: skip
TITLE = "Add an instrument"
ABOUT = (
    "Its offset is taken off each reading that names it. Its uncertainty widens the estimate of a "
    "bath, or the time of a cure. Leave empty what you do not know."
)
LAYOUT = Form(at="room", task=INSTRUMENT)


@router.get("/new")
def new_form(visit: VisitDep) -> Response:
    """The form of a new instrument."""
    return _form(visit, FormState({"by": visit.person}))


@router.post("/new")
def add(visit: VisitDep, typed: FormDep) -> Response:
    """Add an instrument to the room."""
    known = instruments(visit.session, visit.room_id)
    names = [(one.key, one.name) for one in known.values()]
    key = key_of_new(typed, INSTRUMENT, names)
    values = {**typed, INSTRUMENT: key}
    try:
        is_new = not visit.is_repeated(typed)
        if key in known and known[key].is_here and is_new:
            message = f"There is already an instrument “{known[key].name}”. Choose another name."
            raise FieldErrors([FieldError("name", message)])
        entry = read_entry(InstrumentAdded.kind, values, visit.room, visit.person, visit.now)
        problems = instrument_problems(visit.session, visit.room, entry, visit.now)
        if problems and is_new:
            raise FieldErrors(problems)
        done = enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _form(visit, form_of(back, typed, _at_its_name), 422)
    return go_on(visit.address("instruments", key) + f"?saved={done.ids[0]}", entry.by)


def _at_its_name(messages: dict[str, str]) -> dict[str, str]:
    """The form asks for no key: its name makes it."""
    own = messages.get(INSTRUMENT)
    return messages if own is None else {**messages, "name": own}


@router.get("/{instrument}")
def instrument_page(visit: VisitDep, instrument: str) -> Response:
    """An instrument with its certificates and its book."""
    state = find_instrument(visit.session, visit.room_id, instrument)
    standing = standing_of(visit.session, visit.room, state, visit.now)
    rows = book(visit.session, visit.room_id, INSTRUMENT, instrument, LOG_LINES)
    tank = queries.tank_names(visit.session, visit.room_id).get(state.of_tank, state.of_tank)
    context: dict[str, Any] = {
        "instrument": state,
        "line": words.line_of(visit, standing),
        "tank_name": tank,
        "links": _links(visit, state.key),
        "certificates": [
            (one, words.offset_words(state, one)) for one in reversed(state.certificates)
        ],
        "log": lines_of(visit.session, visit.room, [LoggedEntry(row, None) for row in rows]),
        "saved": _saved(visit),
        "is_undone": "undone" in visit.request.query_params,
    }
    return visit.page("meters/instrument.html", context)


def _links(visit: Visit, key: str) -> list[Any]:
    """What can be entered of it as it stands."""
    state = find_instrument(visit.session, visit.room_id, key)
    if state.retired_at is not None:
        return []
    gone = "set-aside" if state.aside_since_at is not None else "put-back"
    return [link for link in links_at(visit, INSTRUMENT, key) if not link.href.endswith(gone)]


def _saved(visit: Visit) -> LogLine | None:
    """The entry that was just saved or undone, so that the page can say so."""
    row = visit.just_stored()
    return None if row is None else line_of(visit.session, visit.room, LoggedEntry(row, None))


def _form(visit: Visit, form: FormState, status: int = 200) -> Response:
    fields = fields_of(visit, InstrumentAdded, LAYOUT)
    context: dict[str, Any] = {
        "title": TITLE,
        "heading": TITLE,
        "about": ABOUT,
        "caution": "",
        "save": TITLE,
        "rows": [[fields[name] for name in row] for row in ROWS],
        "form": form,
        "people": queries.people(visit.session, visit.room_id),
        "back": visit.address("instruments"),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("kinds/form.html", context, status)
