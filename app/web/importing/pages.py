"""Import and export of a room's log from the browser."""

from collections.abc import AsyncIterator, Iterator, Mapping, Sequence
from copy import copy
from dataclasses import replace
from itertools import chain
from typing import Annotated, cast

from fastapi import APIRouter, Depends, Request
from starlette.datastructures import UploadFile
from starlette.responses import RedirectResponse, Response, StreamingResponse

from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.kinds import KINDS
from app.domain.roomlog.lines import HEADER
from app.domain.roomlog.table import DATE, TIME, Column, TableForm, all_specs
from app.domain.roomlog.table_words import UNITS
from app.services.exporting import in_blocks, log_lines, log_table
from app.services.importing.previews import (
    against_in_words,
    decided_in_words,
    holds_in_words,
    lifts_in_words,
)
from app.services.importing.tables import Question, TableOptions
from app.services.leading import require_lead
from app.store.imports import imports as listed
from app.store.instants import from_us
from app.web.deps import Visit, VisitDep
from app.web.forms import FormDep
from app.web.importing.jobs import Imports, Job
from app.web.render import wants_fragment

router = APIRouter(prefix="/rooms/{room}")
HEADER_NAMES = {
    "kind": "What happened", "at": "When it happened", "id": "Key of the entry", "by": "Who",
    "entered_at": "When it was entered", "note": "Note", "corrects": "Entry it corrects",
}  # fmt: skip
UNIT_NAMES = {
    "ml": "mL", "us_gal": "US gallons", "us_qt": "US quarts", "us_fl_oz": "US fluid ounces",
    "f": "Fahrenheit", "k": "kelvin", "in2": "square inches", "mm2": "mm²", "m2": "m²",
    "kg_m3": "kg/m³", "sg": "specific gravity", "s": "seconds", "h": "hours",
}  # fmt: skip


def get_imports(request: Request) -> Imports:
    """The imports under way."""
    state = request.app.state
    if not hasattr(state, "imports"):
        state.imports = Imports(state.store, state.settings.data_dir / "uploads", state.clock)
    return cast(Imports, state.imports)


ImportsDep = Annotated[Imports, Depends(get_imports)]


async def get_upload(request: Request) -> AsyncIterator[UploadFile | None]:
    """The file of a submitted form, None where none was chosen; closed when it is answered."""
    async with request.form(max_files=1, max_fields=20) as form:
        file = form.get("log")
        yield file if isinstance(file, UploadFile) and file.filename else None


@router.get("/import")
def start(visit: VisitDep) -> Response:
    """Where a log is brought in and handed out."""
    return visit.page("importing/start.html", _start(visit))


@router.post("/import")
def upload(
    visit: VisitDep, imports: ImportsDep, file: Annotated[UploadFile | None, Depends(get_upload)]
) -> Response:
    """Keep a file and begin to read it; nothing is stored in the log yet."""
    if file is None:
        return visit.page("importing/start.html", _start(visit, "Choose a file first."), 422)
    job = imports.take(visit.room.key, file.filename or "", file.file, visit.person)
    return _to(visit, job)


@router.get("/import/{token}")
def show(visit: VisitDep, token: str, imports: ImportsDep) -> Response:
    """How far an import is: being read, shown before it is stored, being stored, done."""
    job = copy(imports.find(visit.room.key, token))  # one moment of it: it goes on beside the page
    context: dict[str, object] = {"job": job, "choices": None}
    if job.preview is not None:
        context["lifts"] = lifts_in_words(job.preview)
        context["against"] = against_in_words(job.preview)
        context["decided"] = decided_in_words(job.preview)
        context["holds"] = holds_in_words(job.preview)
    if job.preview is not None and job.preview.form is not None:
        context |= _table_context(job.preview.form, job.options or TableOptions())
    if wants_fragment(visit.request):
        return visit.fragment("importing/job.html", "job", context)
    return visit.page("importing/job.html", context)


@router.post("/import/{token}/stop")
def stop(visit: VisitDep, token: str, imports: ImportsDep) -> Response:
    """Let go of a file, or have what is stored of it stop there."""
    job = imports.find(visit.room.key, token)
    return _to(visit, job) if imports.stop(job) else RedirectResponse(visit.address("import"), 303)


@router.post("/import/{token}/answers")
def answer(visit: VisitDep, token: str, imports: ImportsDep, typed: FormDep) -> Response:
    """Read the table as somebody says that its dates or numbers are meant."""
    job = imports.find(visit.room.key, token)
    if job.options is not None and job.state == "asking":
        imports.read_again(job, _answered(job.options, job.questions, typed))
    return _to(visit, job)


@router.post("/import/{token}/columns")
def read_again(visit: VisitDep, token: str, imports: ImportsDep, typed: FormDep) -> Response:
    """Read the table again with the columns as the person says."""
    job = imports.find(visit.room.key, token)
    if job.preview is not None and job.preview.form is not None:
        orders = job.options.orders if job.options else {}
        imports.read_again(job, _options(job.preview.form, typed, orders))
    return _to(visit, job)


@router.post("/import/{token}/store")
def store(visit: VisitDep, token: str, imports: ImportsDep, typed: FormDep) -> Response:
    """Store what was shown."""
    job = imports.find(visit.room.key, token)
    is_led = job.preview is not None and bool(job.preview.decided)
    if is_led:
        require_lead(visit.session, visit.room_id, visit.person)
    imports.store(job, skip_bad=bool(typed.get("skip_bad")), is_led=is_led)
    return _to(visit, job)


@router.get("/export.jsonl")
def export_lines(visit: VisitDep) -> Response:
    """The whole log as JSON Lines."""
    lines = log_lines(visit.store, visit.room_id)
    return _download(lines, "application/jsonl", f"{visit.room.key}.jsonl")


@router.get("/export.csv")
def export_table(visit: VisitDep) -> Response:
    """The whole log as one table; the mark in front tells spreadsheets that it is Unicode."""
    lines = chain(["\ufeff"], log_table(visit.store, visit.room_id))
    return _download(lines, "text/csv; charset=utf-8", f"{visit.room.key}.csv")


def _start(visit: Visit, error: str = "") -> dict[str, object]:
    rows = listed(visit.session, visit.room_id)
    return {"error": error, "imports": [(row, from_us(row.started_at_us)) for row in rows]}


def _download(lines: Iterator[str], media_type: str, name: str) -> Response:
    headers = {"Content-Disposition": f'attachment; filename="{name}"'}
    return StreamingResponse(in_blocks(lines), media_type=media_type, headers=headers)


def _to(visit: Visit, job: Job) -> Response:
    return RedirectResponse(visit.address("import", job.token), 303)


def _table_context(form: TableForm, options: TableOptions) -> dict[str, object]:
    return {
        "choices": list(_column_choices()),
        "columns": [(column.title, _choice(column)) for column in form.columns],
        "form": form,
        "options": options,
        "kinds": [(key, kind.summary) for key, kind in KINDS.items()],
        "methods": [(key, item.name) for key, item in INSTRUMENTS.items()],
        "table_zone": getattr(form.zone, "key", "UTC"),
    }


def _choice(column: Column) -> str:
    if not column.field:
        return "-"
    return f"{column.field}:{column.unit}" if column.unit else column.field


def _column_choices() -> Iterator[tuple[str, str]]:
    """Everything a column may hold, in its own unit and in others."""
    yield "-", "kept but not used"
    yield DATE, "Day, time in another column"
    yield TIME, "Time of day"
    for name in HEADER:
        yield name, f"{HEADER_NAMES[name]} ({name})"
    for name, spec in all_specs().items():
        yield name, f"{spec.label} ({name})"
        for unit, own in UNITS:
            if own == spec.unit:
                yield f"{name}:{unit}", f"{spec.label} in {UNIT_NAMES.get(unit, unit)} ({name})"


def _answered(
    options: TableOptions, questions: Sequence[Question], typed: dict[str, str]
) -> TableOptions:
    """The options with what was said to each question; one without an answer is asked again."""
    orders, comma = dict(options.orders), options.has_decimal_comma
    for place, question in enumerate(questions):
        said = typed.get(f"answer-{place}")
        if said not in ("first", "second"):
            continue
        if question.field == "day_first":
            orders[question.column] = said == "first"
        else:
            comma = said == "first"
    return replace(options, orders=orders, has_decimal_comma=comma)


def _options(form: TableForm, typed: dict[str, str], orders: Mapping[str, bool]) -> TableOptions:
    columns = {
        column.title: typed.get(f"column-{place}", "-")
        for place, column in enumerate(form.columns)
        if column.title
    }
    options = TableOptions(columns=columns, kind=typed.get("kind", ""))
    return replace(
        options,
        method=typed.get("method", ""),
        time_zone=typed.get("time_zone", "").strip(),
        is_day_first={"day": True, "month": False}.get(typed.get("order", "")),
        has_decimal_comma={"comma": True, "point": False}.get(typed.get("mark", "")),
        orders=orders,
    )
