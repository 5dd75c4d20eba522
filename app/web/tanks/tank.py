"""The tank page: the course of its saturation, its log, why the number is what it is."""

import uuid
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from fastapi import APIRouter
from starlette.datastructures import QueryParams
from starlette.responses import RedirectResponse, Response

from app.domain.baths.conventions import BASES, Basis, from_mass_percent
from app.domain.baths.explaining import Said
from app.domain.checklists.tank_contents import before_l
from app.domain.roomlog.kinds import KINDS, Tank, TankChange
from app.domain.waste.streams import STREAMS, mixed_stream
from app.services.baths.explaining import EXPLAINING, said_of
from app.services.baths.track_record import tally_of
from app.services.baths.worth import worth_of
from app.services.carried import FLASH_LOWERED
from app.services.filtering import require_named
from app.services.harm import falling_flash, lowered_flash
from app.services.incidents.holds import hold
from app.services.swaps.asking import swap_that_asks, swap_that_moved
from app.store import queries
from app.store.log import LogFilter, log_page
from app.store.queries import TankView
from app.store.solvents import solvents_here
from app.store.tables import RoomRow
from app.web import words
from app.web.asking import SENT_BACK, enter, form_of
from app.web.deps import Visit, VisitDep
from app.web.forms import (
    FormDep,
    FormState,
    key_of_new,
    read_entry,
    refuse_double,
    text_of,
    unit_label,
)
from app.web.kinds.places import links_at
from app.web.logbook.tasks import recent_loads
from app.web.planning.views import tank_card
from app.web.render import wants_fragment
from app.web.rooms.gauge import gauge_of
from app.web.tanks.explaining import href_of
from app.web.tanks.purity import beside, note_of, purity_of
from app.web.tanks.standing import last_lines, partners_of, receipt_of
from app.web.tanks.trend import trend_of
from app.web.tanks.why import why
from app.web.tanks.worth import worth_words
from app.web.telling import lines_of

router = APIRouter(prefix="/rooms/{room}/tanks")
TEMPLATE = "tanks/tank.html"
PARTS = ("log", "trend")
USUAL = ("Reading", "Top-up", "Rejected parts")
"""Links that stand beside the loads; all others are behind one button."""
SPANS = {"fill": "This fill", "90": "90 days", "365": "A year"}
LOG_KINDS = (
    "wash", "reading", "top_up", "removal", "solids_removed", "swap", "reject", "planned_wash",
)  # fmt: skip


@router.get("/new")
def new_tank(visit: VisitDep) -> Response:
    """The form of a new tank."""
    values = {"solvent": "isopropanol", "limit_value": "10"}
    return _form(visit, None, FormState(values))


@router.post("/new")
def add_tank(visit: VisitDep, typed: FormDep) -> Response:
    """Bring a tank into use."""
    board = queries.board(visit.session, visit.room_id, visit.now, with_retired=True)
    key = key_of_new(typed, "tank", [(tank.key, tank.name) for tank in board.tanks])
    try:
        values = limits_of({**typed, "tank": key})
        values = purity_of(values, "fresh_purity", typed.get("solvent", ""))
        entry = read_entry(Tank.kind, values, visit.room, visit.person, visit.now)
        if board.tank(key) is not None and not visit.is_repeated(typed):
            raise refuse_double(typed, "tank", key, "tank")
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _form(visit, None, form_of(back, typed, _on_form), 422)
    return RedirectResponse(visit.address("tanks", key), 303)


@router.get("/{tank}")
def tank_page(visit: VisitDep, tank: str) -> Response:
    """Everything about one tank."""
    return show_tank(visit, visit.tank(tank))


def show_tank(
    visit: Visit, view: TankView, form: FormState | None = None, asks_who: bool = False
) -> Response:
    """The page, or the part of it that is asked for; with a load that is asked about in its `form`,
    or whose person is."""
    asked = visit.request.query_params
    context = _context(visit, view, asked.get("span", "fill")) | _log_context(
        visit, view.key, asked
    )
    context |= {
        "receipt": receipt_of(visit, view),
        "last": last_lines(visit, view),
        "partners": partners_of(visit, view),
        "form": form or FormState(),
        "asks_who": asks_who,
        "people": queries.people(visit.session, visit.room_id) if asks_who else [],
        "readiness": tank_card(visit, view),
    }
    if wants_fragment(visit.request):
        part = asked.get("part", "")
        return visit.fragment(TEMPLATE, part if part in PARTS else "tank", context)
    return visit.page(TEMPLATE, context, 200 if form is None else 422)


@router.get("/{tank}/settings")
def tank_settings(visit: VisitDep, tank: str) -> Response:
    """The form of a tank's name, marks, limits and lives."""
    view, asked = visit.tank(tank), visit.request.query_params
    values = _settings_values(view, visit.room)
    return _form(visit, view, FormState(values | {"pair": asked.get("pair", values["pair"])}))


@router.post("/{tank}/settings")
def change_tank(visit: VisitDep, tank: str, typed: FormDep) -> Response:
    """Change them; the bath goes on as it is."""
    view = visit.tank(tank)
    changed = _changed(typed, _settings_values(view, visit.room))
    is_retired = "is_retired" in typed
    if not changed and is_retired == view.is_retired:
        return RedirectResponse(visit.address("tanks", tank), 303)
    try:
        values = limits_of({**changed, "tank": tank})
        entry = read_entry(TankChange.kind, values, visit.room, visit.person, visit.now)
        assert isinstance(entry, TankChange)
        if is_retired != view.is_retired:
            entry = replace(entry, is_retired=is_retired)
        if changed.get("pair") == "":
            entry = replace(entry, is_unpaired=True)
        enter(visit, typed, [entry])
    except SENT_BACK as back:
        return _form(visit, view, form_of(back, typed, _on_form), 422)
    return RedirectResponse(visit.address("tanks", tank), 303)


def _changed(typed: dict[str, str], shown: dict[str, str]) -> dict[str, str]:
    """What was typed anew; a limit's figure and basis belong together."""
    names = {name for name in typed if typed[name] != shown.get(name, "")}
    for stem in ("limit", "stop"):
        if names & {f"{stem}_value", f"{stem}_basis"}:
            names |= {f"{stem}_value", f"{stem}_basis"}
    kept = names - {"is_retired", "is_retired_shown", "submission", "tank"}
    return {name: typed[name] for name in kept if name in typed}


def limits_of(typed: dict[str, str]) -> dict[str, str]:
    """The form's limits, a figure and a basis each, as the fields of an entry."""
    fields = {"mass_percent": "percent", "volume_percent": "volume_percent", "g_per_l": "g_l"}
    values = dict(typed)
    for stem in ("limit", "stop"):
        basis = fields.get(values.pop(f"{stem}_basis", "mass_percent"), "percent")
        figure = values.pop(f"{stem}_value", "")
        if figure.strip():
            values[f"{stem}_{basis}"] = figure
    return values


def _on_form(messages: dict[str, str]) -> dict[str, str]:
    """Messages by the names of the form's fields."""
    limits = {
        (f"{name.split('_')[0]}_value" if name.startswith(("limit_", "stop_")) else name): message
        for name, message in messages.items()
    }
    return beside("fresh_purity", limits)


def _settings_values(view: TankView, room: RoomRow) -> dict[str, str]:
    specs = Tank.specs()
    values = {
        "tank": view.key,
        "name": view.name,
        "pair": view.pair or "",
        "limit_value": f"{view.limit_entered:g}",
        "limit_basis": view.limit_basis,
        "stop_value": f"{view.stop_entered:g}",
        "stop_basis": view.stop_basis,
        "is_retired": "on" if view.is_retired else "",
    }
    for name in ("capacity_l", "min_l", "life_days", "life_washes"):
        if (value := getattr(view, name)) is not None:
            values[name] = text_of(specs[name], value, room)
    return values


def _form(visit: Visit, tank: TankView | None, form: FormState, status: int = 200) -> Response:
    specs = Tank.specs()
    context = {
        "tank": tank,
        "form": form,
        "specs": specs,
        "units": {name: unit_label(spec, visit.room) for name, spec in specs.items()},
        "solvents": solvents_here(visit.session, visit.room_id),
        "clean_baths": _clean_baths(visit, tank),
        "purity_note": note_of(form.values, "fresh_purity", form.value("solvent")),
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    return visit.page("tanks/form.html", context, status)


def _clean_baths(visit: Visit, tank: TankView | None) -> dict[str, str]:
    """What a form offers as the clean bath of a pair: the other tanks in use, or none."""
    board = queries.board(visit.session, visit.room_id, visit.now)
    others = {one.key: f"{one.place} {one.name}" for one in board.tanks}
    return {"": "None: parts go on to drying"} | {
        key: name for key, name in others.items() if tank is None or key != tank.key
    }


def _context(visit: Visit, view: TankView, span: str) -> dict[str, Any]:
    now, zone = visit.now, visit.zone
    held = hold(visit.session, visit.room_id, view.key)
    state = words.state_of(view, held.is_held)
    place = (visit.session, visit.room_id, view.key, view.fill)
    worth = worth_of(visit.session, visit.room, view)
    is_midway = view.swap_started_at is not None or held.asks_contents
    said = said_of(visit.session, visit.room, [view], now).get(view.key)
    moved_g = _moved_g(visit, view) if is_midway else 0.0
    return {
        "tank": view,
        "as_of": queries.days_as_of([view]),
        "state": state,
        "hold": held,
        "gauge": gauge_of(view),
        "tag_text": words.TAGS[state],
        "worth": worth_words(worth),
        "is_worth_reading": any(one.is_worthwhile for one in worth),
        "record": tally_of(visit.session, visit.room),
        "limit_text": words.limit_text(view.limit_entered, view.limit_basis),
        "stop_text": words.limit_text(round(view.stop_entered, 1), view.stop_basis),
        "days_left": words.days_left(view, now, zone, held),
        "reason": words.reason(view, now, zone),
        "flags": [one for one in _flags(view, said) if one != words.FLAGS[FLASH_LOWERED]],
        "flash": lowered_flash(visit.session, visit.room, view.key),
        "falling": falling_flash(visit.session, visit.room, view.key),
        "mixed_stream": STREAMS[mixed].name if (mixed := mixed_stream(view.solvent)) else "",
        "said": said,
        "said_href": href_of(visit, view.key, said.act) if said else "",
        "bases": _bases(view),
        "why": why(queries.ledger(*place), visit.resin_names(), view.resin_g, moved_g),
        "set_aside": queries.set_aside(*place),
        "resin_names": visit.resin_names(),
        "loads": recent_loads(visit, view.key, said.entry if said else None),
        "links": links_at(visit, "tank", view.key),
        "usual": USUAL,
        "need": _need(visit, view, state, said),
        "submission": uuid.uuid4().hex,
        "spans": SPANS,
        "span": span if span in SPANS else "fill",
        "trend": trend_of(visit, view, _since(view, span, now)),
    }


@dataclass(frozen=True)
class Pressing:
    """The first thing that waits for a person here, and where it is done."""

    act: str
    text: str
    href: str


def _need(visit: Visit, view: TankView, state: words.State, said: Said | None) -> Pressing | None:
    """What waits for a person beside what the page's large button does already."""
    if state in ("held", "swapping", "stop") or not (found := words.needs(view, None, said)):
        return None
    act, text = words.act_of(view, state, said), found[0].text
    if state == "over":
        act, text = "Swap the bath", ""  # the page says beside it whether all is ready
    return Pressing(act, text, visit.address("tanks", view.key, found[0].path))


def _flags(view: TankView, said: Said | None) -> list[str]:
    """What is to be said of the estimate beside the explanation of its readings."""
    doubts = words.doubts(view, said)
    if words.may_be_past(view):
        return [*(words.DOUBTS[flag] for flag in doubts), words.MAY_BE_PAST]
    return [
        words.flag_text(flag, view)
        for flag in view.flags
        if not _is_said_above(flag) and (flag in doubts or flag not in EXPLAINING)
    ]


def _moved_g(visit: Visit, view: TankView) -> float:
    """Grams of resin that a swap under way took out of the bath, which no entry says yet."""
    state = swap_that_asks(visit.session, visit.room_id, view.key) or swap_that_moved(
        visit.session, visit.room_id, view.key
    )
    if state is None or view.volume_l <= 0:
        return 0.0
    return view.resin_g * (before_l(state, view.key) / view.volume_l - 1)


def _is_said_above(flag: str) -> bool:
    """What the head of the page says in large letters needs no second place."""
    return flag not in words.FLAGS or flag in ("past_limit", "past_stop")


def _since(view: TankView, span: str, now: datetime) -> datetime:
    return now - timedelta(days=int(span)) if span in ("90", "365") else view.fill_started_at


def _log_context(visit: Visit, tank: str, asked: QueryParams) -> dict[str, Any]:
    kind = asked.get("kind") if asked.get("kind") in KINDS else None
    resin = asked.get("resin") or None
    require_named(visit.session, visit.room_id, resin=resin)
    shown = LogFilter(tank=tank, kind=kind, resin=resin)
    log = log_page(visit.session, visit.room_id, shown, asked.get("cursor"))
    return {
        "log": lines_of(visit.session, visit.room, log.entries),
        "older": log.older,
        "newer": log.newer,
        "log_kinds": {key: KINDS[key].summary for key in LOG_KINDS},
        "log_kind": kind or "",
        "log_resin": resin or "",
        "cursor": asked.get("cursor", ""),
    }


def _bases(view: TankView) -> dict[Basis, list[float]]:
    """The estimate with its band in each basis, exactly converted."""
    figures = (view.mean_percent, view.p05_percent, view.p95_percent)
    densities = (view.resin_density_g_ml, view.solvent_density_g_ml)
    return {
        basis: [from_mass_percent(figure, basis, *densities) for figure in figures]
        for basis in BASES
    }
