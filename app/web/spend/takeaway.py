"""The week to take away, as a workbook and as CSV."""

import tempfile
from pathlib import Path

from fastapi import APIRouter
from starlette.background import BackgroundTask
from starlette.responses import FileResponse, Response, StreamingResponse

from app.domain.errors import FieldError
from app.services.spend.reports import csv_lines, write_week
from app.services.spend.weekly_costs import chosen_lines, read_week
from app.web.deps import VisitDep
from app.web.spend.links import asked_filters, asked_week, names_of

router = APIRouter(prefix="/rooms/{room}/spend")
XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"


@router.get("/week.xlsx")
def sheet(visit: VisitDep) -> Response:
    """The week as a workbook."""
    try:
        week = asked_week(visit)
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    read, names = read_week(visit.session, visit.room, week, visit.now), names_of(visit)
    with tempfile.NamedTemporaryFile(suffix=".xlsx", delete=False) as made:
        path = Path(made.name)
    write_week(path, read, names["tank"], names["resin"], visit.zone)
    name = f"spend-{visit.room.key}-{week}.xlsx"
    return FileResponse(
        path, media_type=XLSX, filename=name, background=BackgroundTask(path.unlink)
    )


@router.get("/week.csv")
def table(visit: VisitDep) -> Response:
    """The week's lines as CSV, by the same filters as on the page."""
    try:
        week = asked_week(visit)
        read = read_week(visit.session, visit.room, week, visit.now)
        asked = asked_filters(visit, read, names_of(visit))
    except FieldError as error:
        return visit.page("spend/no_week.html", {"message": error.message}, 422)
    name = f"spend-{visit.room.key}-{week}.csv"
    return StreamingResponse(
        csv_lines(chosen_lines(read, asked), str(week), visit.zone, visit.room.currency),
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": f'attachment; filename="{name}"'},
    )
