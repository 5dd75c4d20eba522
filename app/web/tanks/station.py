"""A load logged on the tank's own page, which stays: what is asked comes in the button's place."""

from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.roomlog.kinds import Wash
from app.store import queries
from app.web.asking import CHANGE
from app.web.deps import VisitDep
from app.web.forms import ANSWER, FormDep, FormState
from app.web.kinds.body import store_typed
from app.web.kinds.different import Asked
from app.web.kinds.places import PLACES
from app.web.tanks.tank import show_tank

router = APIRouter(prefix="/rooms/{room}/tanks")
TASK = "wash"
NOT_BROUGHT = (ANSWER, "submission")


@router.post("/{tank}")
def log_load(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Store a load washed here; ask first who it was, where this tablet knows nobody."""
    thing = visit.tank(tank)
    if typed.get(ANSWER) == CHANGE:
        brought = {name: text for name, text in typed.items() if name not in NOT_BROUGHT and text}
        form = visit.address("tanks", tank, "log", TASK)
        return RedirectResponse(f"{form}?{urlencode(brought)}", 303)
    named = typed if typed.get("by") else {**typed, "by": visit.person}
    if not named["by"] and queries.people(visit.session, visit.room_id, 1):
        return show_tank(visit, thing, FormState(typed), asks_who=True)
    asked = Asked(visit, Wash, thing, FormState(named))
    return store_typed(asked, PLACES["tank"], tank, lambda form: show_tank(visit, thing, form))
