"""Holding a tank or curing station, and releasing it: whoever sees something holds, a lead
releases."""

import uuid
from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldErrors
from app.domain.holds import HoldState
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.incidents import (
    HOLD,
    StationHeld,
    StationReleased,
    TankHeld,
    TankReleased,
)
from app.services.acts.holds import put_on_hold, release
from app.services.acts.incidents import incidents
from app.services.curing.stations import find_station
from app.services.incidents.holds import hold, is_out_of_service
from app.services.late_marks import marks, told_since
from app.store import queries
from app.store.log import LoggedEntry
from app.store.site import crew
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry
from app.web.telling import lines_of

router = APIRouter(prefix="/rooms/{room}")
TEMPLATE = "incidents/hold.html"
MOST = 8  # entries that are listed; how many more there are is said
# Common practice, no source.
TANK_REASONS = (
    "It leaks", "Pump or agitation stopped", "Cover or interlock broken", "Too warm",
    "Smells or looks wrong", "Wrong liquid went in",
)  # fmt: skip
STATION_REASONS = (
    "Lamp stays on with the door open", "Door or interlock broken", "No light", "Fan stopped",
    "Too hot", "Smells burnt",
)  # fmt: skip

CHOOSE, CHECKED = "Choose what is wrong, or enter it.", "Enter what you checked."
NEEDS_A_REASON = {
    TankHeld.kind: CHOOSE, StationHeld.kind: CHOOSE,
    TankReleased.kind: CHECKED, StationReleased.kind: CHECKED,
}  # fmt: skip
"""What is said where an entry has no reason."""


@dataclass(frozen=True)
class Place:
    """A tank or station as the page speaks of it.

    Attributes:
        what: its word, and the field of its entries.
        work: what is not done in it while it is held.
        advice: what to do instead.
        reasons: what is usually not right, a touch each.
    """

    what: str
    key: str
    name: str
    href: str
    work: str
    advice: str
    hold: HoldState
    reasons: tuple[str, ...]


def _tank(visit: Visit, key: str) -> Place:
    view = visit.tank(key)
    advice = "Use another tank. Leave the pump and cover as they are."
    return Place(
        "tank", key, f"{view.place} {view.name}", visit.address("tanks", key), "wash",
        advice, hold(visit.session, visit.room_id, key), TANK_REASONS,
    )  # fmt: skip


def _station(visit: Visit, key: str) -> Place:
    state = find_station(visit.session, visit.room_id, key)
    advice = "Use another station. Leave this one switched off with its door shut."
    return Place(
        "station", key, state.name, visit.address("stations", key), "cure",
        advice, state.hold, STATION_REASONS,
    )  # fmt: skip


@router.get("/tanks/{tank}/hold")
def tank_page(visit: VisitDep, tank: str) -> Response:
    """Hold the tank, or see why it is held and release it."""
    return _page(visit, _tank(visit, tank))


@router.post("/tanks/{tank}/hold")
def hold_tank(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Nothing is washed in it from now on."""
    return _store(visit, _tank(visit, tank), TankHeld.kind, {**typed, "cause": "lead"})


@router.post("/tanks/{tank}/hold/release")
def release_tank(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """A lead releases it, with a reason."""
    return _store(visit, _tank(visit, tank), TankReleased.kind, typed)


@router.get("/stations/{station}/hold")
def station_page(visit: VisitDep, station: str) -> Response:
    """Hold the station, or see why it is held and release it."""
    return _page(visit, _station(visit, station))


@router.post("/stations/{station}/hold")
def hold_station(visit: VisitDep, station: str, typed: FormDep) -> Response:
    """Nothing is cured in it from now on."""
    return _store(visit, _station(visit, station), StationHeld.kind, {**typed, "cause": "lead"})


@router.post("/stations/{station}/hold/release")
def release_station(visit: VisitDep, station: str, typed: FormDep) -> Response:
    """A lead releases it, with a reason."""
    return _store(visit, _station(visit, station), StationReleased.kind, typed)


def _store(visit: Visit, place: Place, kind: str, typed: dict[str, str]) -> Response:
    said = [typed.get(name, "").strip() for name in ("usual", "reason")]
    sent = {**typed, place.what: place.key, "reason": ": ".join(filter(None, said))}
    try:
        entry = read_entry(kind, sent, visit.room, visit.person, visit.now)
        key = typed.get("submission")
        if isinstance(entry, TankReleased | StationReleased):
            release(visit.store, visit.room.key, entry, visit.now, key)
        elif isinstance(entry, TankHeld | StationHeld):
            put_on_hold(visit.store, visit.room.key, entry, visit.now, key)
    except FieldErrors as error:
        messages = error.by_field()
        if "reason" in messages and not sent["reason"] and kind in NEEDS_A_REASON:
            messages["reason"] = NEEDS_A_REASON[kind]
        return _page(visit, place, FormState(typed, messages), 422)
    is_asked = isinstance(entry, TankHeld) and _tank(visit, place.key).hold.asks_contents
    return go_on(f"{place.href}/contents" if is_asked else place.href, entry.by)


def _page(visit: Visit, place: Place, form: FormState | None = None, status: int = 200) -> Response:
    named = {one.incident for one in place.hold.holds if one.incident}
    open_ones = incidents(visit.session, visit.room_id, only_open=True) if named else []
    form = form or FormState({"by": visit.person})
    kind = HOLD if place.what == "tank" else STATION
    late = told_since(visit.session, visit.room, kind, place.key) if place.hold.is_held else []
    context: dict[str, Any] = {
        "place": place,
        "late": lines_of(
            visit.session, visit.room, [LoggedEntry(row, None) for row in late[:MOST]]
        ),
        "late_marks": marks(visit.session, visit.room, late[:MOST]),
        "more_late": max(0, len(late) - MOST),
        "hold": place.hold,
        "unsettled": [one for one in open_ones if one.key in named],
        "is_out_of_service": is_out_of_service(visit.session, visit.room_id, place.hold),
        "people": queries.people(visit.session, visit.room_id),
        "others": crew(visit.session, visit.room_id).here,
        "leads": [(name, name) for name in crew(visit.session, visit.room_id).leads],
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page(TEMPLATE, context, status)
