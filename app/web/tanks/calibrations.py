"""The room's own refractometer calibration: samples of known saturation and the line they give."""

import uuid
from dataclasses import dataclass

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldError, FieldErrors
from app.domain.instruments import INSTRUMENTS, CalibrationPoint, calibration_line
from app.domain.instruments.model import Scale
from app.domain.instruments.refractometer import CalibrationLine
from app.domain.roomlog.kinds import Calibration
from app.services.entries import entry_of
from app.store import queries
from app.store.log import LogFilter, log_page
from app.store.solvents import solvents_here
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry

router = APIRouter(prefix="/rooms/{room}/calibrations")
SCALES = {"brix_percent": "Brix (%)", "index": "Refractive index"}
MOST_SHOWN = 50


@dataclass(frozen=True)
class CalibrationView:
    """A calibration as the page lists it.

    Attributes:
        line: the line through its points, None where they contradict each other.
        is_latest: the latest in its solvent, which readings are converted with.
    """

    entry: Calibration
    line: CalibrationLine | None
    is_latest: bool


@router.get("")
def calibrations_page(visit: VisitDep) -> Response:
    """The calibrations that count, and the form of a new one."""
    tanks = queries.board(visit.session, visit.room_id, visit.now).tanks
    usual = tanks[0].solvent if tanks else ""
    return _page(visit, FormState({"by": visit.person, "solvent": usual}))


@router.post("")
def add(visit: VisitDep, typed: FormDep) -> Response:
    """Store a calibration; readings entered from its time on are converted with it."""
    try:
        entry = read_entry(Calibration.kind, typed, visit.room, visit.person, visit.now)
        assert isinstance(entry, Calibration)
        if errors := _problems(entry):
            raise FieldErrors(errors)
        done = enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _page(visit, form_of(back, typed), 422)
    return go_on(visit.address("calibrations") + f"?saved={done.ids[0]}", entry.by)


def _problems(entry: Calibration) -> list[FieldError]:
    """What no refractometer shows, or what no line fits."""
    scale = INSTRUMENTS["refractometer"].fields[entry.scale]
    outside = [f"{value:g}" for value, _ in entry.points if not scale.low <= value <= scale.high]
    if outside:
        span = f"The scale goes from {scale.low:g} to {scale.high:g}"
        return [FieldError("points", f"{span}; {', '.join(outside)} cannot be read on it.")]
    try:
        _line(entry)
    except FieldError as error:
        return [error]
    return []


def _line(entry: Calibration) -> CalibrationLine:
    scale: Scale = "index" if entry.scale == "index" else "brix_percent"
    return calibration_line(
        [CalibrationPoint(scale, value, percent) for value, percent in entry.points]
    )


def _listed(visit: Visit) -> list[CalibrationView]:
    shown = LogFilter(kind=Calibration.kind, with_voided=False)
    views: list[CalibrationView] = []
    seen: set[str] = set()
    for item in log_page(visit.session, visit.room_id, shown, most=MOST_SHOWN).entries:
        entry = entry_of(item.row)
        assert isinstance(entry, Calibration)
        views.append(_view(entry, entry.solvent not in seen))
        seen.add(entry.solvent)
    return views


def _view(entry: Calibration, is_latest: bool) -> CalibrationView:
    try:
        return CalibrationView(entry, _line(entry), is_latest)
    except FieldError:
        return CalibrationView(entry, None, is_latest)


def _page(visit: Visit, form: FormState, status: int = 200) -> Response:
    listed = _listed(visit)
    saved = visit.request.query_params.get("saved")
    context = {
        "form": form,
        "calibrations": listed,
        "is_saved": any(view.entry.id == saved for view in listed),
        "scales": SCALES,
        "solvents": solvents_here(visit.session, visit.room_id),
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("tanks/calibrations.html", context, status)
