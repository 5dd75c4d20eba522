"""The curing stations of a room, and the page of one: its lamp, its output, what to do."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.curing.dose import CureToday
from app.domain.curing.exposure import ExposureLimit, eye_limit
from app.domain.curing.lamp import Lamp, lamp, state_of
from app.domain.curing.stations import OutputReading, StationState
from app.domain.curing.trust import Aside, course_of
from app.domain.roomlog.kinds.curing import LEAST_MW_CM2, MARKED, POSITIONS, STATION, Station
from app.services.curing import stations as curing
from app.services.entries import entry_of
from app.store.log import LoggedEntry
from app.store.tables import EntryRow
from app.store.things import book
from app.web.curing import words
from app.web.curing.lamp_curve import curve_of
from app.web.deps import Visit, VisitDep
from app.web.forms import text_of, unit_label
from app.web.kinds.places import links_at
from app.web.telling import LogLine, lines_of

router = APIRouter(prefix="/rooms/{room}/stations")
LOG_LINES = 15
READINGS = 20


@router.get("")
def stations_page(visit: VisitDep) -> Response:
    """The stations of the room."""
    known = curing.stations(visit.session, visit.room_id)
    context = {
        "cards": shown_cards(visit, visit.now),
        "retired": [station for station in known if station.is_retired],
    }
    return visit.page("curing/stations.html", context)


@router.get("/{station}")
def station_page(visit: VisitDep, station: str) -> Response:
    """One station."""
    state = curing.find_station(visit.session, visit.room_id, station)
    return visit.page("curing/station.html", _context(visit, state))


def shown_cards(visit: Visit, now: datetime) -> list[dict[str, Any]]:
    """The stations in use as `curing/_cards.html` draws them."""
    return [
        {
            "key": card.key,
            "name": card.name,
            "state": card.state,
            "tag": words.TAGS[card.state],
            "of_new": card.lamp.of_new,
            "mw_cm2": card.lamp.mw_cm2,
            "time": words.time_of(card.lamp),
            "hours": words.hours(card.hours_h),
            "outlook": words.outlook(card.lamp, now, visit.zone),
            "held": card.held,
            "aside": [words.aside_words(one, card.lamp) for one in card.lamp.aside[-1:]],
        }
        for card in curing.cards(visit.session, visit.room, now)
    ]


def place_words(place: str) -> str:
    """A marked position in words."""
    return place.replace("_", " ")


def _context(visit: Visit, station: StationState) -> dict[str, Any]:
    now, zone = visit.now, visit.zone
    course = course_of(station)
    today = lamp(station, now, course)
    state = state_of(station, today, now)
    shown = today.rests_on
    strongest = max(shown.positions.values()) if shown else None
    return {
        "station": station,
        "lamp": today,
        "state": state,
        "tag_text": words.TAGS[state],
        "outlook": words.outlook(today, now, zone),
        "relamp_range": words.relamp_range(today, now, zone),
        "to_do": words.to_do(today, state),
        "basis": words.BASES[today.fit.basis] if today.fit else "",
        "reach": words.reach_of(today.fit) if today.fit else "",
        "asides": [_aside(one, today) for one in reversed(today.aside)],
        "readings": [(one, course.is_aside(one)) for one in reversed(station.readings)][:READINGS],
        "curve": curve_of(station, today, course),
        "shown": shown,
        "plan": plan_of(station, shown),
        "facts": facts_of(visit, station),
        "eye": _eye_limit(station, strongest) if strongest else None,
        "duration": words.duration,
        "hours": words.hours,
        "links": links_at(visit, "station", station.key),
        "log": _log(visit, station.key, {one.reading.entry for one in course.aside}),
        "saved": _saved(visit, {one.reading.entry for one in course.aside}),
        "is_undone": "undone" in visit.request.query_params,
    }


def _eye_limit(station: StationState, strongest: float) -> ExposureLimit:
    return eye_limit(
        station.wavelength_nm, strongest, shape=station.source, width_nm=station.width_nm,
        below_400_percent=station.below_400_percent,
    )  # fmt: skip


def _aside(one: Aside, today: Lamp) -> dict[str, str]:
    return {
        "entry": one.reading.entry,
        "why": words.doubt_of(one),
        "meaning": words.aside_words(one, today),
        "settle": words.settle_words(one),
    }


def doses_of(station: StationState, today: CureToday) -> list[dict[str, Any]]:
    """The placement map of a cure: what each place gets at least in the time today, in J/cm2."""
    seconds = today.seconds or 0.0
    doses = {one.place: one.least_dose_mj_cm2(seconds) / 1000 for one in today.placement.spots}
    dark = {one.place for one in today.placement.spots if one.is_dark}
    return _plan(station, doses, today.weakest.place if today.weakest else "", dark)


def plan_of(station: StationState, reading: OutputReading | None) -> list[dict[str, Any]]:
    """The marked positions on the chamber's plan, with what was measured there."""
    measured = reading.positions if reading else {}
    lit = {place: value for place, value in measured.items() if value >= LEAST_MW_CM2}
    weakest = min(lit, key=lambda place: lit[place]) if len(lit) > 1 else ""
    return _plan(station, measured, weakest, set(measured) - set(lit))


def _plan(
    station: StationState, values: Mapping[str, float], weakest: str, dark: Collection[str]
) -> list[dict[str, Any]]:
    marked = set(MARKED[station.layout]) | set(values)
    strongest = max(values.values(), default=0.0)
    return [
        {
            "place": place_words(place),
            "column": index % 3,
            "row": index // 3,
            "value": values.get(place),
            "share": values[place] / strongest if place in values else None,
            "is_weakest": place == weakest,
            "is_dark": place in dark,
        }
        for index, place in enumerate(POSITIONS)
        if place in marked
    ]


def facts_of(visit: Visit, station: StationState) -> list[str]:
    """What stands under a station's name."""
    source = words.SOURCES.get(station.source, station.source)
    found = [f"{source}, {station.wavelength_nm:.0f} nm"]
    if station.light_sources:
        found.append(f"{station.light_sources} lamps or LEDs")
    if station.chamber_temperature_c is not None:
        spec = Station.specs()["chamber_temperature_c"]
        warmth = text_of(spec, station.chamber_temperature_c, visit.room)
        found.append(f"chamber {warmth} {unit_label(spec, visit.room)}")
    found.append(f"longest exposure {station.longest_minutes:g} min")
    found.append("turntable" if station.has_turntable else "no turntable")
    return found


def _log(visit: Visit, key: str, aside: set[str]) -> list[LogLine]:
    rows = book(visit.session, visit.room_id, STATION, key, LOG_LINES)
    return _lines(visit, rows, aside)


def _lines(visit: Visit, rows: Sequence[EntryRow], aside: set[str]) -> list[LogLine]:
    found = lines_of(visit.session, visit.room, [LoggedEntry(row, None) for row in rows])
    return [
        replace(line, text=line.text + _too_soon(row), is_set_aside=line.id in aside)
        for line, row in zip(found, rows, strict=True)
    ]


def _too_soon(row: EntryRow) -> str:
    is_too_soon = getattr(entry_of(row), "is_too_soon", False)
    return ", too soon after its wash" if is_too_soon else ""


def _saved(visit: Visit, aside: set[str]) -> LogLine | None:
    """The entry that was just saved or undone, so that the page can say so."""
    row = visit.just_stored()
    return None if row is None else _lines(visit, [row], aside)[0]
