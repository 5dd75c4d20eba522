"""The month's close of a bath: filled to its line, what was lost follows from the log."""

import uuid
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.duties.book import Close
from app.domain.duties.month import emission
from app.domain.roomlog.kinds.duties import MonthClose
from app.services.acts.duties import close_month
from app.services.duties.due import closes, moved_since, resin_brought_l
from app.store import queries
from app.store.queries import TankView
from app.web.asking import SENT_BACK, ask, confirmed, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label
from app.web.kinds.body import pouring_caution

router = APIRouter(prefix="/rooms/{room}/tanks/{tank}/month-close")
TEMPLATE = "duties/month_close.html"


@dataclass(frozen=True)
class Loss:
    """What a bath lost between two closes."""

    close: Close
    days: float
    litres: float
    kg: float
    resin_l: float

    @property
    def per_week_l(self) -> float:
        """Litres a week."""
        return self.litres / self.days * 7


@router.get("")
def close_page(visit: VisitDep, tank: str) -> Response:
    """What the log says was added and removed since the last close."""
    last = closes(visit.session, visit.room_id, tank).last
    values = {"by": visit.person}
    if last is not None:
        moved = moved_since(visit.session, visit.room_id, tank, last.at)
        specs = MonthClose.specs()
        values["added_l"] = text_of(specs["added_l"], round(moved.added_l, 2), visit.room)
        values["removed_l"] = text_of(specs["removed_l"], round(moved.removed_l, 2), visit.room)
        values["solids_l"] = "0"
    return visit.page(TEMPLATE, _context(visit, tank, FormState(values)))


@router.post("")
def close(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Store the close; a negative loss is refused with its reason."""
    visit.tank(tank)
    try:
        sent = {**typed, "tank": tank}
        entry = read_entry(MonthClose.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, MonthClose)
        ask(visit, typed, [entry])
        close_month(
            visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return visit.page(TEMPLATE, _context(visit, tank, form_of(back, typed)), 422)
    return go_on(visit.address("tanks", tank, "month-close") + "?saved=1", entry.by)


def _context(visit: Visit, tank: str, form: FormState) -> dict[str, Any]:
    view = visit.tank(tank)
    state = closes(visit.session, visit.room_id, tank)
    specs = MonthClose.specs()
    moved = None
    if state.last is not None:
        moved = moved_since(visit.session, visit.room_id, tank, state.last.at)
    return {
        "tank": view,
        "caution": pouring_caution(visit, view),
        "last": state.last,
        "moved": moved,
        "losses": _losses(visit, view),
        "specs": specs,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "form": form,
        "people": queries.people(visit.session, visit.room_id),
        "was_saved": "saved" in visit.request.query_params,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }


def _losses(visit: Visit, view: TankView) -> list[Loss]:
    known = closes(visit.session, visit.room_id, view.key).closes
    found = []
    for before, close in pairwise(known):
        if close.loss_l is None:
            continue
        days = (close.at - before.at).total_seconds() / 86400
        resin_l = resin_brought_l(
            visit.session, visit.room_id, view.key, (before.at, close.at),
            view.resin_density_g_ml,
        )  # fmt: skip
        litres = emission(close.added_l or 0.0, close.removed_l, close.solids_l, resin_l)
        found.append(Loss(close, days, litres, litres * view.solvent_density_g_ml, resin_l))
    return found[::-1]
