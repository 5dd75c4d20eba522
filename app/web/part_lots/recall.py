"""A recall as a page and as a file."""

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.part_lots.recall import OF_A_LOT, REASONS, RESIN, SOLVENT
from app.services.curing.stations import stations
from app.services.part_lots.recall import Recall, Recalled, recall
from app.store import queries
from app.web.deps import Visit, VisitDep
from app.web.forms import FormState
from app.web.part_lots.files import recall_file

router = APIRouter(prefix="/rooms/{room}/lots")
USUAL = timedelta(days=30)
SHOWN = 200
LABELS: Mapping[str, str] = {
    "bath over limit": "Washed in a bath above its limit",
    "tank on hold": "Washed in a tank on hold",
    "light reading set aside": "Cured while a light reading was set aside",
    "check overdue": "Cured while the instrument check was overdue",
    RESIN: "Shared a bath with this resin lot",
    SOLVENT: "Washed in this solvent lot",
}


@router.get("/recall")
def recall_page(visit: VisitDep) -> Response:
    """Choose reasons and days, then the lots that touched them."""
    values, errors, asked = _read(visit)
    found: Recalled | None = None
    if asked is not None and not errors:
        found = recall(visit.session, visit.room, asked, SHOWN)
    context: dict[str, Any] = {
        "form": FormState(values, errors),
        "reasons": [(reason, LABELS[reason]) for reason in REASONS if reason not in OF_A_LOT],
        "chosen": visit.request.query_params.getlist("reason"),
        "labels": LABELS,
        "found": found,
        "file": f"{visit.address('lots', 'recall.csv')}?{_query(visit)}",
        "tank_names": queries.tank_names(visit.session, visit.room_id),
        "station_names": {one.key: one.name for one in stations(visit.session, visit.room_id)},
    }
    return visit.page("part_lots/recall.html", context, 422 if errors else 200)


@router.get("/recall.csv")
def recall_table(visit: VisitDep) -> Response:
    """All lots of the recall as comma-separated values, a line each touch."""
    _, errors, asked = _read(visit)
    if errors or asked is None:
        answer = recall_page(visit)
        answer.status_code = 422  # a page is no file
        return answer
    lots = recall(visit.session, visit.room, asked).lots
    return recall_file(lots, f"{visit.room.key}-recall.csv")


def _query(visit: Visit) -> str:
    return urlencode(visit.request.query_params.multi_items())


def _read(visit: Visit) -> tuple[dict[str, str], dict[str, str], Recall | None]:
    """What was typed, a message for each field that does not fit, and what is asked; None before
    anything is."""
    asked = visit.request.query_params
    values = {
        "since": asked.get("since", "") or (visit.today - USUAL).isoformat(),
        "until": asked.get("until", "") or visit.today.isoformat(),
        "resin_lot": asked.get("resin_lot", "").strip(),
        "solvent_lot": asked.get("solvent_lot", "").strip(),
    }
    errors: dict[str, str] = {}
    since, until = (_day(values, name, errors) for name in ("since", "until"))
    if since is not None and until is not None and until < since:
        errors["until"] = "The last day is before the first."
    for name in ("resin_lot", "solvent_lot"):
        if len(values[name]) > 200:
            errors[name] = f"At most 200 characters; this has {len(values[name])}."
    reasons = {one for one in asked.getlist("reason") if one in REASONS and one not in OF_A_LOT}
    reasons |= {RESIN} if values["resin_lot"] else set()
    reasons |= {SOLVENT} if values["solvent_lot"] else set()
    if "since" not in asked and not reasons:
        return values, {}, None
    if not reasons:
        errors["reason"] = "Choose a reason, or enter a lot."
    if errors or since is None or until is None:
        return values, errors, None
    return values, errors, Recall(
        frozenset(reasons), _begin(visit, since), _begin(visit, until + timedelta(days=1)),
        values["resin_lot"], values["solvent_lot"],
    )  # fmt: skip


def _day(values: Mapping[str, str], name: str, errors: dict[str, str]) -> date | None:
    try:
        found = date.fromisoformat(values[name])
    except ValueError:
        errors[name] = "Enter a day, for example 2026-03-02."
        return None
    if not 1970 <= found.year < 2200:
        errors[name] = "The day must be between 1970 and 2200."
        return None
    return found


def _begin(visit: Visit, day: date) -> datetime:
    """The instant at which a day begins in the room."""
    return datetime.combine(day, time(), visit.zone)
