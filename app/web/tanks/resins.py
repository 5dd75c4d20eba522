"""The room's resins: their data, and the carry-in that the room has learned for each."""

import uuid

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.roomlog.kinds import Resin
from app.services.baths.states import load_filter
from app.store import queries
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, key_of_new, read_entry, refuse_double

router = APIRouter(prefix="/rooms/{room}/resins")


@router.get("")
def resins_page(visit: VisitDep) -> Response:
    """All resins, and the form of a new one."""
    return _page(visit, FormState())


@router.post("")
def add(visit: VisitDep, typed: FormDep) -> Response:
    """Add a resin."""
    key = key_of_new(typed, "resin", visit.resin_names().items())
    try:
        values = {**typed, "resin": key}
        entry = read_entry(Resin.kind, values, visit.room, visit.person, visit.now)
        if key in visit.resin_names() and not visit.is_repeated(typed):
            raise refuse_double(typed, "resin", key, "resin")
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _page(visit, form_of(back, typed), 422)
    return RedirectResponse(visit.address("resins"), 303)


def _page(visit: Visit, form: FormState, status: int = 200) -> Response:
    learned = load_filter(visit.session, visit.room).carry_in()
    context = {
        "form": form,
        "resins": queries.resins(visit.session, visit.room_id),
        "learned": {item.resin: item for item in learned},
        "specs": Resin.specs(),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("tanks/resins.html", context, status)
