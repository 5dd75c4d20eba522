"""Inspections: started at a tank or station, gone through part by part, signed, printed."""

import uuid
from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter
from starlette.responses import RedirectResponse, Response

from app.domain.checklists.tank_contents import FILLED, MOVED, standing
from app.domain.errors import Conflict, FieldErrors
from app.domain.holds import HoldState
from app.domain.inspections.conditions import BY_KEY, asked
from app.domain.inspections.inspection import InspectionState
from app.domain.inspections.part import EMPTY, LOOKS
from app.domain.inspections.rules import NEXT_LOOKS
from app.domain.inspections.terms import CAUSES, MECHANISMS, MODES, PART_NAMES, VERDICT_NAMES
from app.domain.roomlog.kinds import Withdrawal
from app.domain.roomlog.kinds.curing import STATION
from app.domain.roomlog.kinds.inspections import (
    COMPONENT,
    INSPECTION,
    LOOK_WORDS,
    InspectionClosed,
    InspectionPhoto,
    InspectionStarted,
    PhotoLabelled,
    PhotoMarked,
)
from app.services import door
from app.services.acts import inspections as service
from app.services.curing.stations import find_station
from app.services.incidents.holds import hold, station_hold
from app.services.inspections import reading
from app.services.swaps.under_way import open_swap
from app.store import queries
from app.store.things import book, thing, things
from app.web.asking import SENT_BACK, ask, confirmed, form_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry
from app.web.inspections.photo_forms import VIEW_WORDS

router = APIRouter(prefix="/rooms/{room}")
SIGNS = {
    "serviceable": "done", "not_seen": "soon", "watch": "soon", "replace": "over",
    "replace_with_mate": "over", "take_out_of_service": "stop",
}  # fmt: skip
BEFORE_ANSWERS = tuple(
    kind.kind for kind in (InspectionStarted, InspectionPhoto, PhotoLabelled, PhotoMarked)
)
NO_POSITIONS = [{"component": "none", "part": "impeller", "name": "none"}]  # the service fills in


@router.get("/inspections")
def overview(visit: VisitDep) -> Response:
    """What is open, what is watched, and each tank and station with its last inspection."""
    found = reading.inspections(visit.session, visit.room_id)
    last: dict[tuple[str, str], InspectionState] = {}
    for state in found:
        if state.is_closed:
            last.setdefault((state.tank, state.station), state)
    context = {
        "open_inspections": [state for state in found if not state.is_closed],
        "closed": [state for state in found if state.is_closed][:15],
        "watched": reading.to_look_at(visit.session, visit.room_id),
        "last": last,
        "places": places(visit),
        "counts": _counts(visit),
        **shared(visit),
    }
    return visit.page("inspections/overview.html", context)


@router.get("/tanks/{tank}/inspection")
def at_tank(visit: VisitDep, tank: str) -> Response:
    """The parts of a tank, and the button that starts an inspection of them."""
    visit.tank(tank)
    return _place_page(visit, tank, "", FormState({"by": visit.person}))


@router.get("/stations/{station}/inspection")
def at_station(visit: VisitDep, station: str) -> Response:
    """The same for a curing station."""
    find_station(visit.session, visit.room_id, station)
    return _place_page(visit, "", station, FormState({"by": visit.person}))


@router.post("/tanks/{tank}/inspection")
def start_at_tank(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Start an inspection of a tank; as a step of its swap where one is under way."""
    visit.tank(tank)
    return _start(visit, tank, "", typed)


@router.post("/stations/{station}/inspection")
def start_at_station(visit: VisitDep, station: str, typed: FormDep) -> Response:
    """Start an inspection of a station."""
    find_station(visit.session, visit.room_id, station)
    return _start(visit, "", station, typed)


@router.get("/inspections/{inspection}")
def inspection_page(visit: VisitDep, inspection: str) -> Response:
    """All parts with what was seen, and the signature at the end."""
    return _page(visit, inspection, FormState({"by": visit.person}))


@router.post("/inspections/{inspection}/close")
def close(visit: VisitDep, inspection: str, typed: FormDep) -> Response:
    """Sign it; a part out of service holds the tank."""
    try:
        sent = {**typed, "inspection": inspection}
        entry = read_entry(InspectionClosed.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, InspectionClosed)
        ask(visit, typed, [entry])
        service.close(
            visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return _page(visit, inspection, form_of(back, typed), 422)
    return go_on(visit.address("inspections", inspection, "report"), entry.by)


@router.post("/inspections/{inspection}/discard")
def discard(visit: VisitDep, inspection: str) -> Response:
    """Started by mistake: its start is taken back and stays in the history."""
    state = reading.find_inspection(visit.session, visit.room_id, inspection)
    rows = book(visit.session, visit.room_id, INSPECTION, inspection)
    left = [row.uid for row in rows if row.voided_by is None and row.kind in BEFORE_ANSWERS]
    if state.is_closed or any(look.verdict or look.replaced_at for look in state.looks):
        raise Conflict("Some answers are already in. Finish it, or take the answers back.")
    why = "Started by mistake"
    words = [Withdrawal(at=visit.now, by=visit.person, note=why, withdraws=uid) for uid in left]
    door.enter(visit.store, visit.room.key, words, visit.now)
    return RedirectResponse(visit.address("inspections"), 303)


@router.get("/inspections/{inspection}/report")
def report(visit: VisitDep, inspection: str) -> Response:
    """One page to print or send: parts, verdicts, reasons, photos, signatures."""
    state = reading.find_inspection(visit.session, visit.room_id, inspection)
    context = {"inspection": state, "hold": hold_of(visit, state), **shared(visit)}
    context["with_mate"] = mates_of(visit, state)
    return visit.page("inspections/report.html", context)


def shared(visit: Visit) -> dict[str, Any]:
    """Words and names that all pages of inspections show."""
    return {
        "names": dict(places(visit).values()),
        "parts": PART_NAMES,
        "verdicts": VERDICT_NAMES,
        "signs": SIGNS,
        "conditions": BY_KEY,
        "questions": asked,
        "look_words": LOOK_WORDS,
        "modes": MODES,
        "mechanisms": MECHANISMS,
        "causes": CAUSES,
        "next_looks": NEXT_LOOKS,
        "views": dict(VIEW_WORDS),
    }


def places(visit: Visit) -> dict[str, tuple[str, str]]:
    """Address below the room, key and name of each tank and station."""
    board = queries.board(visit.session, visit.room_id, visit.now)
    found = {f"tanks/{t.key}": (t.key, f"{t.place} {t.name}") for t in board.tanks}
    for key, state in things(visit.session, visit.room_id, STATION, only_open=True).items():
        found[f"stations/{key}"] = (key, state.name or key)
    return found


def mates_of(visit: Visit, state: InspectionState) -> dict[str, str]:
    """Parts that are replaced because another is, by position: the name of that other."""
    return {
        position.mate: look.name
        for look in state.looks
        if look.decided == "replace_with_mate"
        and (position := thing(visit.session, visit.room_id, COMPONENT, look.component))
        and position.mate
    }


def hold_of(visit: Visit, state: InspectionState) -> HoldState:
    """Whether the inspection's tank or station is held."""
    find, key = (hold, state.tank) if state.tank else (station_hold, state.station)
    return find(visit.session, visit.room_id, key)


def _counts(visit: Visit) -> dict[str, int]:
    counts: dict[str, int] = {}
    for state in reading.components(visit.session, visit.room_id).values():
        place = f"tanks/{state.tank}" if state.tank else f"stations/{state.station}"
        counts[place] = counts.get(place, 0) + 1
    return counts


def _start(visit: Visit, tank: str, station: str, typed: dict[str, str]) -> Response:
    key = (typed.get("submission", "").replace("-", "") or service.new_key())[:12]
    sent = {**typed, "inspection": key, "tank": tank, "station": station}
    try:
        kept = {"positions": NO_POSITIONS}
        entry = read_entry(InspectionStarted.kind, sent, visit.room, visit.person, visit.now, kept)
        assert isinstance(entry, InspectionStarted)
        service.start(visit.store, visit.room.key, entry, visit.now, typed.get("submission"))
    except FieldErrors as error:
        return _place_page(visit, tank, station, FormState(typed, error.by_field()), 422)
    return go_on(visit.address("inspections", key), entry.by)


def _place_page(
    visit: Visit, tank: str, station: str, form: FormState, status: int = 200
) -> Response:
    known = places(visit)
    where = f"tanks/{tank}" if tank else f"stations/{station}"
    found = reading.inspections(visit.session, visit.room_id)
    here = [state for state in found if (state.tank, state.station) == (tank, station)]
    view = visit.tank(tank) if tank else None
    positions = reading.positions_of(visit.session, visit.room_id, tank=tank, station=station)
    name = f"{view.place} {view.name}" if view else known.get(where, (station, station))[1]
    context = {
        "where": where,
        "place_name": name,
        "positions": positions,
        "looks": _looks(visit, tank, [one.part for one in positions]),
        "open_here": next((state for state in here if not state.is_closed), None),
        "earlier": [state for state in here if state.is_closed][:20],
        "swap": visit.request.query_params.get("swap", ""),
        "people": queries.people(visit.session, visit.room_id),
        "form": form,
        "submission": form.value("submission") or uuid.uuid4().hex,
        **shared(visit),
    }
    return visit.page("inspections/place.html", context, status)


LOOK_TITLES = {
    "full": ("While full", "Look for drips and wet traces, listen, check the level and the sensor"),
    "empty": ("Empty", "Every part, once the tank is drained and locked out"),
    "refilled": ("Refilled", "After ten minutes, see what weeps and whether the level falls"),
}  # fmt: skip


def _looks(visit: Visit, tank: str, parts: Sequence[str]) -> list[dict[str, Any]]:
    """The looks that a tank has, the one that is due by its swap in front of the eye."""
    if not tank:
        return []
    swap = open_swap(visit.session, visit.room_id, tank)
    stands = standing(swap, tank, 0.0) if swap is not None else None
    due = {None: "full" if swap else EMPTY, FILLED: "refilled", MOVED: "refilled"}
    now = due.get(stands.stage if stands else None, EMPTY)
    counts = {look: sum(bool(asked(part, look)) for part in parts) for look in LOOKS}
    return [
        {"key": look, "title": title, "text": text, "count": counts[look], "is_due": look == now}
        for look, (title, text) in LOOK_TITLES.items()
        if counts[look]
    ]


def _page(visit: Visit, inspection: str, form: FormState, status: int = 200) -> Response:
    state = reading.find_inspection(visit.session, visit.room_id, inspection)
    context = {
        "inspection": state,
        "form": form,
        "people": queries.people(visit.session, visit.room_id),
        "hold": hold_of(visit, state),
        "saved": state.look(visit.request.query_params.get("saved", "")),
        "submission": form.value("submission") or uuid.uuid4().hex,
        **shared(visit),
    }
    return visit.page("inspections/inspection.html", context, status)
