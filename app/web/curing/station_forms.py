"""Forms of a curing station: set it up, change it."""

import uuid
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.curing.stations import StationState
from app.domain.roomlog.kinds.curing import STATION, Station, StationChanged
from app.services.curing import stations as curing
from app.services.curing.doubts import new_output_doubts
from app.store.things import things
from app.web.asking import SENT_BACK, ask, form_of
from app.web.curing import words
from app.web.curing.readings import stored
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep, FormState, key_of_new, read_entry, refuse_double, text_of

router = APIRouter(prefix="/rooms/{room}/stations")
SETTINGS = (
    "name", "source", "wavelength_nm", "width_nm", "below_400_percent", "layout", "light_sources",
    "chamber_temperature_c", "new_mw_cm2", "relamp_percent", "longest_minutes",
)  # fmt: skip


@router.get("/new")
def new_form(visit: VisitDep) -> Response:
    """The form of a new station."""
    form = FormState({"source": "led", "layout": "centre_and_corners"})
    return _settings(visit, None, form)


@router.post("/new")
def add(visit: VisitDep, typed: FormDep) -> Response:
    """Set a station up."""
    known: dict[str, StationState] = things(visit.session, visit.room_id, STATION)
    key = key_of_new(typed, "station", [(one.key, one.name) for one in known.values()])
    values = {**typed, "station": key}
    try:
        if key in known and known[key].is_known and not visit.is_repeated(typed):
            raise refuse_double(typed, "station", key, "curing station")
        entry = read_entry(Station.kind, values, visit.room, visit.person, visit.now)
        assert isinstance(entry, Station)
        ask(visit, typed, [entry], lambda: new_output_doubts(None, entry))
        return stored(visit, entry, typed)
    except SENT_BACK as back:
        return _settings(visit, None, form_of(back, typed), 422)


@router.get("/{station}/settings")
def settings_form(visit: VisitDep, station: str) -> Response:
    """The station's settings as they stand."""
    state = curing.find_station(visit.session, visit.room_id, station)
    return _settings(visit, state, FormState(_shown(visit, state)))


@router.post("/{station}/settings")
def change(visit: VisitDep, station: str, typed: FormDep) -> Response:
    """Store what was changed; a field left empty stays as it was."""
    state = curing.find_station(visit.session, visit.room_id, station)
    shown = _shown(visit, state)
    changed = {
        name: text
        for name in SETTINGS
        if (text := typed.get(name, "").strip()) and text != shown[name]
    }
    flags = {
        name: bool(typed.get(name))
        for name in ("has_turntable", "is_retired")
        if bool(typed.get(name)) != getattr(state, name)
    }
    sent = {**changed, "station": station}
    try:
        entry = read_entry(
            StationChanged.kind, sent, visit.room, visit.person, visit.now, {**_unset(), **flags}
        )
        if not changed and not flags:
            return RedirectResponse(visit.address("stations", station), 303)
        assert isinstance(entry, StationChanged)
        ask(visit, typed, [entry], lambda: new_output_doubts(state, entry))
        return stored(visit, entry, typed)
    except SENT_BACK as back:
        return _settings(visit, state, form_of(back, typed), 422)


def _unset() -> dict[str, Any]:
    """Flags that a form leaves out are not taken for unset: they are given, or stay."""
    return {"has_turntable": None, "is_retired": None}


def _shown(visit: Visit, state: StationState) -> dict[str, str]:
    specs = StationChanged.specs()
    shown = {}
    for name in SETTINGS:
        value = getattr(state, name)
        shown[name] = "" if value is None else text_of(specs[name], value, visit.room)
    for name in ("has_turntable", "is_retired"):
        shown[name] = "on" if getattr(state, name) else ""
    return shown


def _settings(
    visit: Visit, state: StationState | None, form: FormState, status: int = 200
) -> Response:
    specs = Station.specs()
    context = {
        "station": state,
        "form": form,
        "specs": specs,
        "units": words.units_of_fields(specs, visit.room),
        "sources": list(words.SOURCES.items()),
        "layouts": list(words.LAYOUTS.items()),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("curing/settings.html", context, status)
