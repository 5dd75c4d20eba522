"""A look at the full or the refilled tank: all its questions on one page, signed at the end.

There is no touch for "all in order". Each question sends the eye or a dry cloth to another place,
and a leak is found there; one touch for all is made standing upright.
"""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import NotFound
from app.domain.inspections.conditions import asked
from app.domain.inspections.inspection import InspectionState
from app.domain.roomlog.kinds.inspection_data import ANSWERS
from app.domain.roomlog.kinds.inspections import InspectionClosed, InspectionStarted
from app.services.acts import inspections as service
from app.services.inspections import reading
from app.services.swaps.looks import FULL, REFILLED, cloth_from
from app.services.swaps.under_way import open_swap
from app.store import queries
from app.store.queries import TankView
from app.web.asking import SENT_BACK, ask, confirmed, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry
from app.web.inspections.inspection import LOOK_TITLES, NO_POSITIONS, shared

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/look/{look}")
TEMPLATE = "inspections/look.html"


@router.get("")
def look_page(visit: VisitDep, tank: str, look: str) -> Response:
    """The questions of a look, part by part."""
    return _page(visit, tank, look, FormState({"by": visit.person}))


@router.post("")
def look(visit: VisitDep, tank: str, look: str, typed: FormDep) -> Response:
    """Store all answers and the signature at once."""
    _find(visit, tank, look)
    swap = open_swap(visit.session, visit.room_id, tank)
    key = (typed.get("submission", "").replace("-", "") or service.new_key())[:12]
    sent = {**typed, "inspection": key, "tank": tank, "look": look}
    sent |= {"swap": swap.key} if swap is not None else {}
    try:
        begun = read_entry(
            InspectionStarted.kind, sent, visit.room, visit.person, visit.now,
            {"positions": NO_POSITIONS},
        )  # fmt: skip
        signed = read_entry(InspectionClosed.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(begun, InspectionStarted)
        assert isinstance(signed, InspectionClosed)
        ask(visit, typed, [])
        service.look_at(
            visit.store, visit.room.key, begun, _answers(visit, tank, look, typed), signed,
            visit.now, typed.get("submission"), confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return _page(visit, tank, look, form_of(back, typed), 422)
    visit.session.rollback()  # read what has just been stored
    done = reading.find_inspection(visit.session, visit.room_id, key)
    return go_on(_after(visit, done, swap.tank if swap is not None else ""), signed.by)


def _after(visit: Visit, done: InspectionState, swap_tank: str) -> str:
    """Back to the swap; to the look itself where a photo or a release is to follow."""
    if not done.is_closed:
        return visit.address("inspections", done.key)
    if swap_tank and not done.blocks_refill:
        return visit.address("tanks", swap_tank, "swap")
    return visit.address("inspections", done.key, "report")


def _find(visit: Visit, tank: str, look: str) -> TankView:
    """The tank, where it has such a look.

    Raises:
        NotFound: there is no such tank or look.
    """
    if look not in (FULL, REFILLED):
        raise NotFound("There is no such look.")
    return visit.tank(tank)


def _answers(
    visit: Visit, tank: str, look: str, typed: dict[str, str]
) -> dict[str, dict[str, str]]:
    positions = reading.positions_of(visit.session, visit.room_id, tank=tank, station="")
    return {
        one.key: {
            question.key: answer
            for question in asked(one.part, look)
            if (answer := typed.get(f"{one.key}.{question.key}", "")) in ANSWERS
        }
        for one in positions
    }


def _page(visit: Visit, tank: str, look: str, form: FormState, status: int = 200) -> Response:
    view = _find(visit, tank, look)
    swap = open_swap(visit.session, visit.room_id, tank)
    positions = reading.positions_of(visit.session, visit.room_id, tank=tank, station="")
    since = (
        cloth_from(visit.session, visit.room_id, swap, tank)
        if swap is not None and look == REFILLED
        else None
    )
    open_here = (
        one
        for one in reading.inspections(visit.session, visit.room_id)
        if one.tank == tank and not one.is_closed
    )
    context: dict[str, Any] = {
        "look": look,
        "title": LOOK_TITLES[look][0],
        "about": LOOK_TITLES[look][1],
        "name": f"{view.place} {view.name}",
        "tank": view,
        "rows": [(one, asked(one.part, look)) for one in positions if asked(one.part, look)],
        "since": since if since is not None and visit.now < since else None,
        "open_here": next(open_here, None),
        "back": visit.address("tanks", swap.tank, "swap")
        if swap is not None
        else visit.address("tanks", tank, "inspection"),
        "people": queries.people(visit.session, visit.room_id),
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
        **shared(visit),
    }
    return visit.page(TEMPLATE, context, status)
