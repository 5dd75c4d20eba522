"""When something goes wrong: large choices, a page of cautions, the record, what is left to do."""

import uuid
from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.calendar_words import day_words
from app.domain.errors import FieldErrors, NotFound
from app.domain.incidents.guides import GUIDES, WITH_WHAT, Guide
from app.domain.plural import counted
from app.domain.roomlog.kinds.incidents import MAY_STAY, Incident
from app.domain.roomlog.kinds.supplies import ITEM
from app.domain.waste.drums import DrumState
from app.domain.waste.streams import STREAMS
from app.services.acts.consequences import Report
from app.services.acts.incidents import incident_key, incidents, report
from app.services.curing.stations import stations
from app.services.waste import drums, pickups
from app.store import queries
from app.store.site import site
from app.store.solvents import solvents_here
from app.store.things import things
from app.web.deps import Visit, VisitDep, go_on
from app.web.forms import FormDep, FormState, read_entry, unit_label

router = APIRouter(prefix="/rooms/{room}/problem")
CHOICES = "incidents/problem.html"
TEMPLATE = "incidents/guide.html"
EXPOSED_TO = tuple((key, text.capitalize()) for key, text in WITH_WHAT.items())
Options = Sequence[tuple[str, str]]
SOURCES = {
    "other": "Somewhere else",
    "bath": "Out of the bath: its level sank",
    "shelf": "A container on the shelf",
}


@router.get("")
def problem(visit: VisitDep) -> Response:
    """What went wrong? Large choices, the most pressing first, and the emergency number."""
    context = {
        "guides": GUIDES,
        "open_incidents": incidents(visit.session, visit.room_id, only_open=True),
        "site": site(visit.session, visit.room_id),
        "asked_tank": visit.request.query_params.get("tank", ""),
    }
    return visit.page(CHOICES, context)


@router.get("/{what}")
def guide_page(visit: VisitDep, what: str) -> Response:
    """What to do first, then what to record."""
    guide = _guide(what)
    asked = visit.request.query_params
    values = {
        "by": visit.person,
        **{name: asked.get(name, "") for name in ("tank", "station", "drum")},
    }
    if "tank" in asked:
        values["source"] = "bath"
    return visit.page(TEMPLATE, _context(visit, guide, FormState(values)))


@router.post("/{what}")
def record(visit: VisitDep, what: str, typed: FormDep) -> Response:
    """Store it with all that follows at once: tank held, drum in quarantine, waste counted."""
    guide = _guide(what)
    key = incident_key(typed.get("submission"))
    sent = {**typed, "incident": key, "problem": what}
    try:
        entry = read_entry(Incident.kind, sent, visit.room, visit.person, visit.now)
        assert isinstance(entry, Incident)
        source = typed.get("source", "")
        reported = Report(
            entry,
            from_bath=source == "bath" and entry.tank is not None,
            item=typed.get("item", "") if source == "shelf" else "",
        )
        report(visit.store, visit.room.key, reported, visit.now, typed.get("submission"))
    except FieldErrors as error:
        return visit.page(TEMPLATE, _context(visit, guide, FormState(typed, error.by_field())), 422)
    return go_on(visit.address("incidents", key) + "?saved=1", entry.by)


def _guide(what: str) -> Guide:
    if what not in GUIDES:
        raise NotFound("There is no page for that problem.")
    return GUIDES[what]


def _context(visit: Visit, guide: Guide, form: FormState) -> dict[str, Any]:
    specs = Incident.specs()
    board = queries.board(visit.session, visit.room_id, visit.now).tanks
    tanks = [(tank.key, f"{tank.place} {tank.name}") for tank in board]
    here = list(drums(visit.session, visit.room_id, only_open=True).values())
    holds = _holds(guide, form, tanks, _stations(visit), here)
    return {
        "guide": guide,
        "holds": holds,
        "may_stay": MAY_STAY,
        "form": form,
        "site": site(visit.session, visit.room_id),
        "specs": specs,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "tanks": [("", "No tank"), *tanks],
        "stations": [("", "No station"), *_stations(visit)],
        "drums": [("", "No drum"), *((drum.key, drum.name) for drum in here if drum.name)],
        "waste_drums": [("", "Not in a drum yet"), *_taken_up_by(here)],
        "pickups": _pickups(visit),
        "solvents": [
            ("", "Not known"), *(EXPOSED_TO if guide.key == "exposure" else ()),
            *((key, one.name) for key, one in solvents_here(visit.session, visit.room_id).items()),
        ],
        "items": _items(visit),
        "sources": list(SOURCES.items()),
        "people": queries.people(visit.session, visit.room_id),
        "submission": form.value("submission") or uuid.uuid4().hex,
        "one_touch": uuid.uuid4().hex,
    }  # fmt: skip


def _holds(
    guide: Guide,
    form: FormState,
    tanks: Options,
    curing: Options,
    here: Sequence[DrumState],
) -> list[tuple[str, str, str]]:
    """What one touch takes out of use: field, key, words; what the address names stands first."""
    offered = {
        "tank": tanks if guide.holds_tank else (),
        "station": curing if guide.holds_station else (),
        "drum": [(drum.key, drum.name) for drum in here if drum.name]
        if guide.quarantines_drum
        else (),
    }
    act = {"drum": "Quarantine"}
    found = [
        (field, key, f"{act.get(field, 'Hold')} {name}")
        for field, options in offered.items()
        for key, name in options
    ]
    return sorted(found, key=lambda one: form.value(one[0]) != one[1])


def _stations(visit: Visit) -> list[tuple[str, str]]:
    here = stations(visit.session, visit.room_id)
    return [(one.key, one.name) for one in here if one.is_known and not one.is_retired]


def _taken_up_by(here: Sequence[DrumState]) -> list[tuple[str, str]]:
    """Where what was soaked up goes: bins of solids and wipes first, drums of liquid last."""
    fit = [drum for drum in here if drum.takes_waste]
    fit.sort(key=lambda drum: (STREAMS[drum.stream].is_liquid, drum.stream, drum.name))
    return [
        (
            drum.key,
            f"{drum.name}, liquid only, no pads"
            if STREAMS[drum.stream].is_liquid
            else f"{drum.name}, {STREAMS[drum.stream].name}",
        )
        for drum in fit
    ]


def _pickups(visit: Visit) -> list[tuple[str, str]]:
    booked = [
        pickup for pickup in pickups(visit.session, visit.room_id).values() if pickup.is_booked
    ]
    shown = []
    for pickup in booked:
        when = day_words(pickup.pickup_on, visit.today) or "no day"
        shown.append((pickup.key, f"{when}, {pickup.hauler}, {counted(len(pickup.drums), 'drum')}"))
    return [("", "None of the pickups booked here"), *shown]


def _items(visit: Visit) -> list[tuple[str, str]]:
    shelf = things(visit.session, visit.room_id, ITEM).values()
    known = [item for item in shelf if item.category == "solvent" and item.on_hand > 0]
    return [("", "None"), *((item.key, item.name) for item in known)]
