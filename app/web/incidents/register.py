"""The incidents of a room: the list, each with its follow-ups, closed by a lead."""

import uuid
from collections.abc import Callable
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.errors import FieldErrors, NotFound
from app.domain.incidents.book import IncidentState
from app.domain.incidents.guides import GUIDES
from app.domain.roomlog.kinds import Withdrawal
from app.domain.roomlog.kinds.incidents import (
    HOLD,
    INCIDENT,
    IncidentClosed,
    IncidentReopened,
    IncidentStep,
)
from app.services import door
from app.services.acts.incidents import close, incidents, reopen, settle
from app.services.curing.stations import stations
from app.services.door import Recorded
from app.services.incidents.checks import find_incident
from app.services.waste import drums
from app.store import queries
from app.store.log import LoggedEntry
from app.store.site import crew, site
from app.store.things import book, things
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState, read_entry
from app.web.telling import lines_of

router = APIRouter(prefix="/rooms/{room}/incidents")
LIST = "incidents/list.html"
TEMPLATE = "incidents/incident.html"
FORMS = ("step", "close", "reopen")


@router.get("")
def incident_list(visit: VisitDep) -> Response:
    """All incidents, those still open first."""
    found = incidents(visit.session, visit.room_id)
    context = {
        "open_incidents": [state for state in found if not state.is_closed],
        "closed_incidents": [state for state in found if state.is_closed],
        "guides": GUIDES,
        "tank_names": _tank_names(visit),
        "left": {state.key: len(_left(state)) for state in found},
    }
    return visit.page(LIST, context)


@router.get("/{incident}")
def incident_page(visit: VisitDep, incident: str) -> Response:
    """What happened, what followed, what is left to do."""
    return _page(visit, incident)


@router.post("/{incident}/step")
def tick(visit: VisitDep, incident: str, typed: FormDep) -> Response:
    """A follow-up is done, or not needed for a reason."""
    return _store(visit, incident, "step", IncidentStep.kind, typed, settle)


@router.post("/{incident}/undo")
def undo(visit: VisitDep, incident: str, typed: FormDep) -> Response:
    """A tick was wrong: it stays in the history and no longer counts."""
    state = find_incident(visit.session, visit.room_id, incident)
    entry = typed.get("entry", "")
    if entry not in {step.entry for step in state.steps}:
        raise NotFound("This has already been taken back. Reload the page.")
    word = Withdrawal(at=visit.now, by=visit.person, note="Ticked by mistake", withdraws=entry)
    door.enter(visit.store, visit.room.key, [word], visit.now)
    return _back(visit, incident)


@router.post("/{incident}/close")
def close_incident(visit: VisitDep, incident: str, typed: FormDep) -> Response:
    """A lead closes it, with what was found."""
    return _store(visit, incident, "close", IncidentClosed.kind, typed, close)


@router.post("/{incident}/reopen")
def reopen_incident(visit: VisitDep, incident: str, typed: FormDep) -> Response:
    """It is open again."""
    return _store(visit, incident, "reopen", IncidentReopened.kind, typed, reopen)


def _store(
    visit: Visit, incident: str, form: str, kind: str, typed: dict[str, str],
    service: Callable[..., Recorded],
) -> Response:  # fmt: skip
    find_incident(visit.session, visit.room_id, incident)
    try:
        sent = {**typed, "incident": incident}
        entry = read_entry(kind, sent, visit.room, visit.person, visit.now)
        service(visit.store, visit.room.key, entry, visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _page(visit, incident, form, FormState(typed, error.by_field()), 422)
    answer = _back(visit, incident)
    if entry.by:
        remember_person(answer, entry.by)
    return answer


def _back(visit: Visit, incident: str) -> RedirectResponse:
    return RedirectResponse(visit.address("incidents", incident) + "#left", 303)


def _page(
    visit: Visit, incident: str, form: str = "", state: FormState | None = None, status: int = 200
) -> Response:
    found = find_incident(visit.session, visit.room_id, incident)
    log = book(visit.session, visit.room_id, INCIDENT, incident)
    held = things(visit.session, visit.room_id, HOLD, only_open=True)
    here = drums(visit.session, visit.room_id)
    context: dict[str, Any] = {
        "incident": found,
        "guide": GUIDES[found.problem],
        "left": _left(found),
        "tank_names": _tank_names(visit),
        "station_names": {one.key: one.name for one in stations(visit.session, visit.room_id)},
        "drum_names": {key: drum.name or key for key, drum in here.items()},
        "quarantined": {key for key, drum in here.items() if drum.is_quarantined},
        "held": set(held),
        "people": queries.people(visit.session, visit.room_id),
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "site": site(visit.session, visit.room_id),
        "log": lines_of(visit.session, visit.room, [LoggedEntry(row, None) for row in log]),
        "forms_state": {
            name: (state if name == form and state else FormState({"by": visit.person}))
            for name in FORMS
        },
        "nobody": FormState(),
        "submission": uuid.uuid4().hex,
        "was_saved": "saved" in visit.request.query_params,
    }
    return visit.page(TEMPLATE, context, status)


def _left(state: IncidentState) -> list[str]:
    return [key for key in GUIDES[state.problem].required if state.step(key) is None]


def _tank_names(visit: Visit) -> dict[str, str]:
    board = queries.board(visit.session, visit.room_id, visit.now, with_retired=True)
    return {tank.key: f"{tank.place} {tank.name}" for tank in board.tanks}
