"""The radiometer of a curing station: read, asked about where it is unlikely, settled by a lead."""

import uuid
from collections.abc import Mapping
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.curing.lamp import lamp
from app.domain.curing.plain import plain
from app.domain.curing.stations import StationState
from app.domain.curing.trust import course_of
from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import MARKED, POSITIONS, Irradiance, ReadingAccepted
from app.services.acts.curing import record_station
from app.services.curing.doubts import ReadingDoubt, reading_doubt
from app.services.curing.stations import find_station, judged
from app.services.meters.book import chosen, last_used, offered
from app.services.refusals import problems_of
from app.store import queries
from app.store.site import crew
from app.units import parse_number
from app.web.asking import SENT_BACK, ask, confirmed, form_of
from app.web.curing import words
from app.web.curing.stations import place_words
from app.web.deps import Visit, VisitDep, remember_person
from app.web.forms import FormDep, FormState, read_entry
from app.web.meters.choosing import ask_which, options, without_none

router = APIRouter(prefix="/rooms/{room}/stations/{station}")
UNITS = {"mw_cm2": ("mW/cm²", 1.0), "w_m2": ("W/m²", 0.1), "uw_cm2": ("µW/cm²", 0.001)}


@router.get("/log/reading")
def reading_form(visit: VisitDep, station: str) -> Response:
    """The marked positions seen from above, a field each."""
    state = find_station(visit.session, visit.room_id, station)
    return _page(visit, state, FormState({"by": visit.person, "unit": "mw_cm2"}))


@router.post("/log/reading")
def store_reading(visit: VisitDep, station: str, typed: FormDep) -> Response:
    """Store what was read; an unlikely one only once it was asked about, or its unit set right."""
    state = find_station(visit.session, visit.room_id, station)
    typed = {**typed, "unit": typed.get("as_unit") or typed.get("unit", "mw_cm2")}
    doubt: ReadingDoubt | None = None
    try:
        kept = _in_mw_cm2(typed)
        sent = {**without_none(typed), "station": station}
        entry = read_entry(Irradiance.kind, sent, visit.room, visit.person, visit.now, kept)
        entry = chosen(visit.session, visit.room_id, entry)
        ask_which(visit, entry, typed)
        assert isinstance(entry, Irradiance)
        problems = problems_of(visit.session, visit.room, entry, visit.now)
        if problems and not visit.is_repeated(typed):
            raise FieldErrors(problems)
        others = _other_stations(visit, station)
        doubt = reading_doubt(state, entry, _other_units(typed["unit"]), others)
        texts = (_doubt_words(doubt),) if doubt else ()
        ask(visit, typed, [entry], lambda: texts)
        return stored(visit, entry, typed)
    except SENT_BACK as back:
        return _page(visit, state, form_of(back, typed), doubt, 422)


@router.get("/aside")
def aside_page(visit: VisitDep, station: str) -> Response:
    """The readings that are set aside, and what a lead may say of one."""
    state = find_station(visit.session, visit.room_id, station)
    return _aside_page(visit, state, FormState({"by": visit.person}))


@router.post("/aside")
def accept(visit: VisitDep, station: str, typed: FormDep) -> Response:
    """A lead lets a reading count."""
    state = find_station(visit.session, visit.room_id, station)
    try:
        sent = {**typed, "station": station}
        entry = read_entry(ReadingAccepted.kind, sent, visit.room, visit.person, visit.now)
        return stored(visit, entry, typed)
    except FieldErrors as error:
        return _aside_page(visit, state, FormState(typed, error.by_field()), 422)


def stored(visit: Visit, entry: Entry, typed: Mapping[str, str]) -> Response:
    """Store an entry of a station and go to its page, which says so."""
    done = record_station(
        visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
        confirmed=confirmed(typed),
    )  # fmt: skip
    saved = f"?saved={done.ids[0]}"
    answer = RedirectResponse(visit.address("stations", getattr(entry, "station", "")) + saved, 303)
    if who := getattr(entry, "lead", "") or entry.by:  # who said it, and may undo it
        remember_person(answer, who)
    return answer


def _in_mw_cm2(typed: Mapping[str, str]) -> dict[str, float]:
    """What was read at each position, from the unit of the radiometer.

    Raises:
        FieldErrors: a value that is no number, or a unit that is none of light on a surface.
    """
    unit = typed["unit"]
    if unit not in UNITS:
        message = "Choose mW/cm², W/m² or µW/cm². Lux and other units say nothing about UV."
        raise FieldErrors([FieldError("unit", message)])
    errors, found = [], {}
    for place in POSITIONS:
        name = f"{place}_mw_cm2"
        if not (text := typed.get(name, "").strip()):
            continue
        try:
            found[name] = parse_number(text) * UNITS[unit][1]
        except FieldError as error:
            errors.append(FieldError(name, error.message))
    if errors:
        raise FieldErrors(errors)
    return found


def _other_units(unit: str) -> dict[str, float]:
    """By what the figures change were they in another unit."""
    return {key: size / UNITS[unit][1] for key, (_, size) in UNITS.items() if key != unit}


def _other_stations(visit: Visit, station: str) -> list[float]:
    """The outputs of the room's other stations today."""
    found = (
        lamp(one, visit.now, course).mw_cm2
        for one, course in judged(visit.session, visit.room)
        if one.key != station
    )
    return [output for output in found if output is not None]


def _page(
    visit: Visit,
    state: StationState,
    form: FormState,
    doubt: ReadingDoubt | None = None,
    status: int = 200,
) -> Response:
    offers = doubt.units.items() if doubt else ()
    context: dict[str, Any] = {
        "station": state,
        "form": form,
        "is_set_aside": doubt is None or doubt.is_set_aside,
        "can_repeat": doubt is not None and doubt.aside.can_repeat,
        "offers": [(unit, UNITS[unit][0], mean) for unit, mean in offers],
        "marked": [(f"{place}_mw_cm2", place_words(place)) for place in MARKED[state.layout]],
        "units": [(key, label) for key, (label, _) in UNITS.items()],
        "hours": words.hours,
        "meters": options(
            offered(visit.session, visit.room_id),
            last_used(visit.session, visit.room_id, station=state.key),
        ),
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("curing/reading.html", context, status)


def _doubt_words(doubt: ReadingDoubt) -> str:
    if doubt.is_set_aside:
        return words.doubt_of(doubt.aside)
    mean, near = doubt.aside.reading.mean_mw_cm2, doubt.aside.expected.mw_cm2
    return (
        f"The mean is {plain(mean)} mW/cm²; the nearest of the other stations here gives "
        f"{plain(near or 0.0)}. It is the first reading here, and all cure times will use it."
    )


def _aside_page(visit: Visit, state: StationState, form: FormState, status: int = 200) -> Response:
    asides = course_of(state).open[::-1]
    context: dict[str, Any] = {
        "station": state,
        "asides": [(one.reading, words.doubt_of(one)) for one in asides],
        "choices": [
            (one.reading.entry, f"{plain(one.reading.mean_mw_cm2)} mW/cm²") for one in asides
        ],
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("curing/aside.html", context, status)
