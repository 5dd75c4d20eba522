"""Curing on a tablet: the resin, the station with its time today, then what was done."""

import json
import math
import uuid
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.curing.dose import AXIS, CureToday
from app.domain.curing.drying import Drying, advice
from app.domain.curing.plain import places
from app.domain.curing.recipes import RecipeState
from app.domain.curing.stations import StationState
from app.domain.errors import FieldError, FieldErrors
from app.domain.roomlog.checks import misfits
from app.domain.roomlog.kinds.curing import POSITIONS, Cure, check_places
from app.services.acts.curing import record_station
from app.services.curing import stations as curing
from app.services.curing.checks import entry_problems
from app.services.curing.doubts import cure_doubts
from app.services.definitions import context
from app.services.part_lots.lots import has_lots
from app.store import queries
from app.web.asking import SENT_BACK, ask, confirmed, form_of
from app.web.curing import words
from app.web.curing.stations import doses_of
from app.web.deps import Visit, VisitDep, go_on
from app.web.filters import moment
from app.web.forms import FormDep, FormState, read_entry, unit_label

router = APIRouter(prefix="/rooms/{room}/cure")
TEMPLATE = "curing/cure.html"
OTHER_WASH, NO_WASH = "other", "none"
WHICH_WASH = "Choose the wash these parts come from, or say that they were not washed here."


@router.get("")
def cure_form(visit: VisitDep) -> Response:
    """Choose the resin, then the station; then log the cure."""
    asked = visit.request.query_params
    resin, station = asked.get("resin", ""), asked.get("station", "")
    used = [place for place in POSITIONS if place in asked.getlist("place")]
    places_text = json.dumps(used) if used else ""
    return _page(visit, resin, station, FormState({"by": visit.person, "places": places_text}))


@router.post("")
def log(visit: VisitDep, typed: FormDep) -> Response:
    """Store the cure with its dose; an odd one only once it was asked about."""
    resin, station = typed.get("resin", ""), typed.get("station", "")
    try:
        typed = _with_wash(visit, typed)
        values = {**typed, "washed_at": _utc_text(visit, typed.get("washed_at", ""))}
        entry = read_entry(Cure.kind, values, visit.room, visit.person, visit.now)
        assert isinstance(entry, Cure)
        known = context(visit.session, visit.room_id)
        found = misfits(entry, known, visit.now)
        found += entry_problems(visit.session, visit.room_id, entry)
        if found and not visit.is_repeated(typed):
            raise FieldErrors(found)
        # With what the door works out of it, so that all it asks is asked at once.
        full = curing.with_figures(visit.session, visit.room_id, entry)
        ask(visit, typed, [full], lambda: cure_doubts(visit.session, visit.room_id, entry))
        done = record_station(
            visit.store, visit.room.key, entry, visit.now, typed.get("submission"),
            confirmed=confirmed(typed),
        )  # fmt: skip
    except SENT_BACK as back:
        return _page(visit, resin, station, form_of(back, typed), 422)
    to = visit.address("stations", entry.station)
    return go_on(f"{to}?saved={done.ids[0]}", entry.by)


def _with_wash(visit: Visit, typed: dict[str, str]) -> dict[str, str]:
    """The form with tank and time of the wash that was chosen; as typed where it is another one."""
    chosen = typed.get("came_from", "")
    if chosen == NO_WASH:
        return {**typed, "tank": "", "washed_at": ""}
    recent = curing.recent_washes(visit.session, visit.room_id, typed.get("resin", ""), visit.now)
    wash = next((one for one in recent if one.uid == chosen), None)
    if chosen == OTHER_WASH and not (typed.get("tank") and typed.get("washed_at", "").strip()):
        raise FieldErrors([FieldError("tank", "Enter which tank, and when they came out of it.")])
    if recent and not (chosen or typed.get("tank") or typed.get("washed_at", "").strip()):
        raise FieldErrors([FieldError("came_from", WHICH_WASH)])
    if wash is None:
        return typed
    return {
        **typed,
        "lot": typed.get("lot", "").strip() or wash.lot,
        "tank": wash.tank,
        "washed_at": wash.out_at.astimezone(visit.zone).isoformat(),
    }  # fmt: skip


def _utc_text(visit: Visit, text: str) -> str:
    """A local time as typed becomes an instant with its offset; what is none is left as it is."""
    try:
        at = datetime.fromisoformat(text.strip())
    except ValueError:
        return text
    return at.replace(tzinfo=at.tzinfo or visit.zone).isoformat()


def _page(visit: Visit, resin: str, station: str, form: FormState, status: int = 200) -> Response:
    names = visit.resin_names()
    known = curing.recipes(visit.session, visit.room_id)
    recipe = known.get(resin)
    context: dict[str, Any] = {
        "form": form,
        "resin": resin if resin in names else "",
        "resins": list(names.items()),
        "recipes": known,
        "recipe": recipe,
        "resin_name": names.get(resin, ""),
        "chosen": None,
        "station": station,
        "station_name": _station_name(visit, station),
        "duration": words.duration,
        "longer": words.longer,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    if not context["resin"]:
        context["quick"] = {key: _quick(visit, one, station) for key, one in known.items()}
    elif recipe is not None:
        used = _used(form) if station else []
        times = curing.times_today(visit.session, visit.room, recipe, visit.now, used)
        context |= {"times": times, "used": used, "positions": POSITIONS}
        chosen = next((pair for pair in times if pair[0].key == station), None)
        if chosen is not None:
            context |= _chosen(visit, recipe, chosen, form)
    return visit.page(TEMPLATE, context, status)


def _used(form: FormState) -> list[str]:
    """The places that parts are said to lie in; none where it is no list of them."""
    try:
        return check_places(json.loads(form.value("places") or "[]"))
    except ValueError:
        return []


def _station_name(visit: Visit, key: str) -> str:
    names = {one.key: one.name for one, _ in curing.judged(visit.session, visit.room)}
    return names.get(key, "")


def _quick(visit: Visit, recipe: RecipeState, station: str) -> str:
    """The time today as it stands beside a resin: on the station asked for, or the quickest."""
    times = curing.times_today(visit.session, visit.room, recipe, visit.now)
    here = [today for one, today in times if not station or one.key == station]
    able = next((today for today in here if today.can), None)
    if able is None or able.seconds is None:
        return "not there" if station else "no station today"
    return f"{'' if station else 'from '}{words.duration(able.seconds)}"


def _chosen(
    visit: Visit, recipe: RecipeState, chosen: tuple[StationState, CureToday], form: FormState
) -> dict[str, Any]:
    station, today = chosen
    washes = curing.recent_washes(visit.session, visit.room_id, recipe.resin, visit.now)
    if not form.errors and not form.doubts:
        form = FormState(_proposed(form, today))
    tanks = curing.tank_names(visit.session, visit.room_id)
    tank = form.value("tank") or (washes[0].tank if washes else "")
    waits = [(one, _wait_of(visit, recipe, one)) for one in washes]
    return {
        "form": form,
        "chosen": station,
        "today": today,
        "waits": waits,
        "asked_minutes": waits[0][1].asked_minutes if waits else _asked(visit, recipe, tank),
        "is_wet": bool(waits) and waits[0][1].is_too_soon,
        "washes": _choices(visit, waits),
        "advice": advice(curing.solvent_of(visit.session, visit.room_id, tank)),
        "tanks": [("", "Choose the tank" if washes else "Not washed here"), *tanks.items()],
        "specs": Cure.specs(),
        "uses_lots": has_lots(visit.session, visit.room_id),
        "minutes_unit": unit_label(Cure.specs()["minutes"], visit.room),
        "people": queries.people(visit.session, visit.room_id),
        "weakest_words": words.weakest_of(today),
        "spots": today.placement.spots,
        "lit": _offered(station, today),
        "used_words": places(today.placement.used),
        "plan": doses_of(station, today) if today.seconds is not None else [],
        "carried": places([one.place for one in today.placement.spots if one.is_carried]),
    }


def _offered(station: StationState, today: CureToday) -> list[str]:
    """The places of which parts may lie in some only."""
    lit = [one.place for one in today.placement.spots if not one.is_dark]
    if len(lit) < 2:
        return []
    return [place for place in lit if place == AXIS] if station.has_turntable else lit


def _proposed(form: FormState, today: CureToday) -> dict[str, str]:
    values = dict(form.values)
    if today.seconds is not None:
        values["minutes"] = minutes_text(today.seconds)
    return values


def minutes_text(seconds: float) -> str:
    """Minutes to two decimals that give at least the dose.

    >>> [minutes_text(seconds) for seconds in (325.8, 6.1, 600)]
    ['5.43', '0.11', '10']
    """
    return f"{math.ceil(round(100 * seconds / 60, 6)) / 100:g}"


def _wait_of(visit: Visit, recipe: RecipeState, wash: curing.LastWash) -> Drying:
    """How far the parts of a wash have dried."""
    at = (wash.tank, wash.out_at)
    return curing.drying_of(visit.session, visit.room_id, recipe, at, visit.now)


def _asked(visit: Visit, recipe: RecipeState, tank: str) -> float:
    at = (tank or None, None)
    return curing.drying_of(visit.session, visit.room_id, recipe, at, visit.now).asked_minutes


def _choices(
    visit: Visit, waits: Sequence[tuple[curing.LastWash, Drying]]
) -> list[tuple[str, str]]:
    """The washes that these parts may come from, and the answers where it was none of them."""
    found = [(wash.uid, wash_words(wash, wait, visit)) for wash, wait in waits]
    return [*found, (OTHER_WASH, "Another wash: choose which"), (NO_WASH, "Not washed here")]


def wash_words(wash: curing.LastWash, wait: Drying, visit: Visit) -> str:
    """A wash by its tank, its time and its lot, with how far its parts have dried."""
    lot = f", lot {wash.lot}" if wash.lot else ""
    state = f"wait {wait.missing_minutes:.0f} min more" if wait.is_too_soon else "dry long enough"
    return f"{wash.tank_name}, {moment(wash.out_at, visit.zone)}{lot}: {state}"
