"""The tank page: the course of its saturation, its log, why the number is what it is."""

import uuid
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Request
from sqlmodel import Session
from starlette.datastructures import QueryParams
from starlette.responses import RedirectResponse, Response

from app.domain.baths.conventions import from_mass_percent
from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.roomlog.kinds import KINDS, Tank, TankChange
from app.domain.solvents import SOLVENTS
from app.services import roomlog
from app.store import queries
from app.store.log import LogFilter, LoggedEntry, find_entry, log_page
from app.store.queries import TankView
from app.store.tables import RoomRow
from app.web import words
from app.web.deps import NowDep, PersonDep, RoomDep, SessionDep, StoreDep
from app.web.entries import LogLine, line_of
from app.web.forms import FormDep, FormState, read_entry, text_of, unit_label
from app.web.logbook import recent_loads, tank_view
from app.web.render import fragment, page, wants_fragment
from app.web.trend import trend_of

router = APIRouter(prefix="/rooms/{room}/tanks")
TEMPLATE = "tanks/tank.html"
SPANS = {"fill": "This fill", "90": "90 days", "365": "A year"}
LOG_KINDS = (
    "wash", "reading", "top_up", "removal", "solids_removed", "swap", "reject", "planned_wash",
)  # fmt: skip


@router.get("/new")
def new_tank(request: Request, room: RoomDep) -> Response:
    """The form of a new tank."""
    values = {"solvent": "isopropanol", "fresh_purity_percent": "99", "limit_percent": "10"}
    return _form(request, room, None, FormState(values))


@router.post("/new")
def add_tank(
    request: Request, session: SessionDep, store: StoreDep, room: RoomDep, now: NowDep,
    person: PersonDep, typed: FormDep,
) -> Response:  # fmt: skip
    """Bring a tank into use."""
    try:
        entry = read_entry(Tank.kind, limits_of(typed), room, person, now)
        key = getattr(entry, "tank", "")
        board = queries.board(session, room.id or 0, now, with_retired=True)
        if board.tank(key) is not None:
            raise FieldErrors([FieldError("tank", "There is a tank with this key already.")])
        roomlog.record(store, room.key, [entry], now, typed.get("submission"))
    except FieldErrors as error:
        return _form(request, room, None, FormState(typed, _on_form(error)), 422)
    return RedirectResponse(f"/rooms/{room.key}/tanks/{key}", 303)


@router.get("/{tank}")
def tank_page(
    request: Request, session: SessionDep, room: RoomDep, tank: str, now: NowDep, person: PersonDep
) -> Response:
    """Everything about one tank."""
    asked = request.query_params
    view = tank_view(session, room, tank, now)
    context = _context(session, room, view, now, asked.get("span", "fill"))
    context |= _log_context(session, room, tank, asked)
    context |= {"person": person, "saved": _saved_line(session, room, asked), "asked": asked}
    if wants_fragment(request):
        return fragment(request, TEMPLATE, _block(asked.get("part", "")), context)
    return page(request, TEMPLATE, context)


@router.get("/{tank}/settings")
def tank_settings(
    request: Request, session: SessionDep, room: RoomDep, tank: str, now: NowDep
) -> Response:
    """The form of a tank's name, marks, limits and lives."""
    view = tank_view(session, room, tank, now)
    return _form(request, room, view, FormState(_settings_values(view, room)))


@router.post("/{tank}/settings")
def change_tank(
    request: Request, session: SessionDep, store: StoreDep, room: RoomDep, tank: str, now: NowDep,
    person: PersonDep, typed: FormDep,
) -> Response:  # fmt: skip
    """Change them; the bath goes on as it is."""
    view = tank_view(session, room, tank, now)
    try:
        values = limits_of({**typed, "tank": tank})
        entry = read_entry(TankChange.kind, values, room, person, now)
        if "is_retired_shown" in typed and isinstance(entry, TankChange):
            entry = replace(entry, is_retired=bool(entry.is_retired))
        roomlog.record(store, room.key, [entry], now, typed.get("submission"))
    except FieldErrors as error:
        return _form(request, room, view, FormState(typed, _on_form(error)), 422)
    return RedirectResponse(f"/rooms/{room.key}/tanks/{tank}", 303)


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


def _on_form(error: FieldErrors) -> dict[str, str]:
    """Messages by the names of the form's fields."""
    return {
        (f"{name.split('_')[0]}_value" if name.startswith(("limit_", "stop_")) else name): message
        for name, message in error.by_field().items()
    }


def _settings_values(view: TankView, room: RoomRow) -> dict[str, str]:
    specs = Tank.specs()
    values = {
        "tank": view.key,
        "name": view.name,
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


def _form(
    request: Request, room: RoomRow, tank: TankView | None, form: FormState, status: int = 200
) -> Response:
    specs = Tank.specs()
    context = {
        "room": room,
        "tank": tank,
        "form": form,
        "specs": specs,
        "units": {name: unit_label(spec, room) for name, spec in specs.items()},
        "solvents": SOLVENTS,
        "submission": form.value("submission") or uuid.uuid4().hex,
    }
    answer = page(request, "tanks/form.html", context)
    answer.status_code = status
    return answer


def _block(part: str) -> str:
    return part if part in ("log", "trend") else "tank"


def _context(
    session: Session, room: RoomRow, view: TankView, now: datetime, span: str
) -> dict[str, Any]:
    room_id, zone = room.id or 0, ZoneInfo(room.time_zone)
    state = words.state_of(view)
    aside = queries.set_aside(session, room_id, view.key, view.fill)
    return {
        "room": room,
        "now": now,
        "zone": zone,
        "tank": view,
        "state": state,
        "tag": words.TAGS[state],
        "days_left": words.days_left(view, now, zone),
        "reason": words.reason(view, now, zone),
        "needs": words.needs(view),
        "flags": [words.FLAGS[flag] for flag in view.flags if flag in words.FLAGS],
        "bases": _bases(view),
        "ledger": queries.ledger(session, room_id, view.key, view.fill),
        "resin_names": {resin.key: resin.name for resin in queries.resins(session, room_id)},
        "set_aside": aside,
        "loads": recent_loads(session, room, view.key)[:2],
        "submission": uuid.uuid4().hex,
        "spans": SPANS,
        "span": span if span in SPANS else "fill",
        "trend": trend_of(session, room, view, now, _since(view, span, now)),
    }


def _since(view: TankView, span: str, now: datetime) -> datetime:
    return now - timedelta(days=int(span)) if span in ("90", "365") else view.fill_started_at


def _log_context(session: Session, room: RoomRow, tank: str, asked: QueryParams) -> dict[str, Any]:
    kind = asked.get("kind") if asked.get("kind") in KINDS else None
    resin = asked.get("resin") or None
    shown = LogFilter(tank=tank, kind=kind, resin=resin)
    log = log_page(session, room.id or 0, shown, asked.get("cursor"))
    names = {item.key: item.name for item in queries.resins(session, room.id or 0)}
    return {
        "log": [line_of(item, room, names) for item in log.entries],
        "older": log.older,
        "newer": log.newer,
        "log_kinds": {key: KINDS[key].summary for key in LOG_KINDS},
        "log_kind": kind or "",
        "log_resin": resin or "",
    }


def _saved_line(session: Session, room: RoomRow, asked: QueryParams) -> LogLine | None:
    """The entry that was just saved or undone, so that the page can say so."""
    uid = asked.get("saved") or asked.get("undone")
    if not uid:
        return None
    try:
        row = find_entry(session, room.id or 0, uid)
    except NotFound:
        return None
    names = {item.key: item.name for item in queries.resins(session, room.id or 0)}
    return line_of(LoggedEntry(row, None), room, names)


def _bases(view: TankView) -> dict[str, tuple[float, float, float]]:
    """The estimate with its band in each basis, exactly converted."""
    figures = (view.mean_percent, view.p05_percent, view.p95_percent)
    densities = (view.resin_density_g_ml, view.solvent_density_g_ml)
    return {
        basis: tuple(from_mass_percent(figure, basis, *densities) for figure in figures)  # type: ignore
        for basis in ("mass_percent", "volume_percent", "g_per_l")
    }
