"""The entries behind what stands beside a week's cost: late washes and rejected parts."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from fastapi import APIRouter
from starlette.responses import Response

from app.domain.errors import FieldError
from app.domain.spend.weeks import IsoWeek
from app.services.spend.weekly_costs import late_washes_in, rejects_in
from app.web.deps import Visit, VisitDep
from app.web.filters import number
from app.web.spend.links import asked_span, asked_week, at, names_of

router = APIRouter(prefix="/rooms/{room}/spend")
QUALITY = {"late": "Washes past the limit", "rejects": "Parts rejected"}
LATE_NOTE = "Each compared with its tank's limit at the time, in mass percent of resin."


@dataclass(frozen=True)
class Line:
    """An entry of the list."""

    entry: str
    at: datetime
    tank: str
    cells: Sequence[str]


@router.get("/quality")
def quality_page(visit: VisitDep) -> Response:
    """The washes past the limit of a week, or its rejected parts, each a link to its entry."""
    try:
        week, span = asked_week(visit), asked_span(visit)
        kind = visit.request.query_params.get("of", "late")
        if kind not in QUALITY:
            raise FieldError("of", f"“{kind[:20]}” is not a list. Choose {' or '.join(QUALITY)}.")
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    context = _late(visit, week) if kind == "late" else _rejects(visit, week)
    more = {
        "week": week, "title": QUALITY[kind], "tanks": names_of(visit)["tank"],
        "back": at(visit, week=str(week), span=span),
    }  # fmt: skip
    return visit.page("spend/quality.html", context | more)


def _late(visit: Visit, week: IsoWeek) -> dict[str, Any]:
    rows = [
        Line(one.entry, one.at, one.tank,
             (f"{number(one.percent, 1)} %", f"{number(one.limit_percent, 1)} %"))
        for one in late_washes_in(visit.session, visit.room, week)
    ]  # fmt: skip
    columns = ("The bath then", "Limit then")
    return {"rows": rows, "figure": len(rows), "columns": columns, "note": LATE_NOTE}


def _rejects(visit: Visit, week: IsoWeek) -> dict[str, Any]:
    found = rejects_in(visit.session, visit.room, week)
    rows = [
        Line(one.id or "", one.at, one.tank or "",
             (one.finding.replace("_", " "), str(one.parts or 1),
              (one.outcome or "").replace("_", " ")))
        for one in found
    ]  # fmt: skip
    columns = ("Finding", "Parts", "What happened to them")
    return {
        "rows": rows, "figure": sum(one.parts or 1 for one in found), "columns": columns,
        "note": "",
    }  # fmt: skip
