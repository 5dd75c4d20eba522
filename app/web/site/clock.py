"""The date and time of the server: doubted where they cannot be, and confirmed by a person."""

from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.roomlog.kinds.site import SITE, ClockConfirmed
from app.services import door
from app.web.deps import VisitDep
from app.web.forms import FormDep

router = APIRouter(prefix="/rooms/{room}/clock")


@router.get("")
def clock_page(visit: VisitDep) -> Response:
    """What the clock says, why it is doubted, and what to do where it is wrong."""
    return visit.page("site/clock.html", {})


@router.post("")
def confirm(visit: VisitDep, typed: FormDep) -> Response:
    """The date and time are right: entries are taken again."""
    word = ClockConfirmed(at=visit.now, by=typed.get("by", visit.person), site=SITE)
    key = typed.get("submission")
    door.enter(visit.store, visit.room.key, [word], visit.now, key)
    watch: Any = visit.request.app.state.clock_watch
    watch.believe(visit.now, visit.request.app.state.steady_s())
    return RedirectResponse(visit.address(), 303)
