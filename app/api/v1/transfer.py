"""Whole logs: sent in as a file, handed out as one."""

import tempfile
from collections.abc import AsyncIterator
from datetime import datetime
from hashlib import blake2b
from pathlib import Path
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from starlette.exceptions import HTTPException
from starlette.responses import StreamingResponse

from app.api.deps import RoomDep, SubmissionDep, WrittenRoomDep, room_id
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes
from app.domain.errors import FieldError, FieldErrors
from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.kinds import KINDS
from app.incoming import NowDep, StoreDep
from app.services.acts.rooms import zones
from app.services.catching_up import Clock
from app.services.exporting import in_blocks, log_lines, log_table
from app.services.importing import importing
from app.services.importing.importing import Checked
from app.services.importing.storing import Origin, Stored, stored_before
from app.services.importing.tables import TableOptions
from app.services.leading import require_lead
from app.store.engine import Store
from app.store.sessions import reading
from app.store.tables import RoomRow

router = APIRouter(prefix="/v1/rooms/{room}", tags=["whole logs"], route_class=StrictRoute)

JSON_LINES, CSV = "application/x-ndjson", "text/csv"
FILE_BODY: dict[str, Any] = {
    "requestBody": {
        "required": True,
        "content": {name: {"schema": {"type": "string"}} for name in (JSON_LINES, CSV)},
    }
}
Flag = Literal["true", "false"]


class LineErrorOut(FromAttributes):
    """What is wrong with one line of the file."""

    line: int
    field: str
    message: str


class ColumnOut(FromAttributes):
    """How a column of a table was read."""

    title: str
    field: str
    unit: str


class ImportPreview(FromAttributes):
    """What a file would store, and what is wrong with it."""

    entries: int
    kinds: dict[str, int] = Field(description="Number of entries by kind.")
    tanks: dict[str, int] = Field(description="Number of entries by tank.")
    new_tanks: tuple[str, ...]
    new_resins: tuple[str, ...]
    first_at: datetime | None
    last_at: datetime | None
    new: int
    changed: int = Field(description="Correct what an earlier import brought.")
    unchanged: int = Field(description="Already there, unchanged.")
    gone: int = Field(description="Came with the file before, are not in it now, and stay.")
    skipped: int = Field(description="Unchanged ones, and lines that are in the file twice.")
    unknown_fields: tuple[str, ...] = Field(description="Kept, and handed back on export.")
    errors: list[LineErrorOut] = Field(description="The first hundred.")
    bad_lines: int
    lifts: tuple[str, ...] = Field(
        description="Holds that lines of it would lift. Such lines do not fit: a lead releases."
    )
    against: tuple[str, ...] = Field(
        description="What lines tell of and the room forbids now: stored, and marked in the log."
    )
    decided: tuple[str, ...] = Field(
        description="Lines that say what only a lead decides: `by` names a lead as it is stored."
    )
    odd: list[LineErrorOut] = Field(
        description="The first figures that are unlikely by what their own line says, and fills of "
        "a purity that their tank did not have before; they are stored as they are."
    )
    holds: tuple[str, ...] = Field(
        description="What its open problems hold as it is stored: tanks, stations, drums."
    )
    is_guessed_encoding: bool
    columns: list[ColumnOut] | None = Field(default=None, description="For a table.")


class Imported(BaseModel):
    """What an import stored."""

    stored: int = Field(description="Entries; the preview says what would be left out, and why.")


class TableQuery(BaseModel):
    """How to read a table; what is left out is guessed, but for dates and numbers that can mean two
    things. JSON Lines need none of it."""

    model_config = ConfigDict(extra="forbid")

    column: list[Annotated[str, Field(max_length=300, pattern="^.+=.+$")]] = Field(
        default=[], max_length=200, description="`Title=field`, `Title=field:unit` or `Title=-`."
    )
    kind: Literal[("", *KINDS)] = Field(  # type: ignore[valid-type]
        default="", description="Of all rows."
    )
    method: Literal[("", *INSTRUMENTS)] = Field(  # type: ignore[valid-type]
        default="", description="Of all rows that are readings."
    )
    time_zone: str = Field(
        default="",
        max_length=64,
        description="The room's if left out.",
        json_schema_extra=lambda schema: schema.update(enum=["", *sorted(zones())]),
    )
    day_first: Flag | None = None
    decimal_comma: Flag | None = None

    def options(self) -> TableOptions:
        """What it says, for the one who reads the table."""
        return TableOptions(
            columns=dict(item.rpartition("=")[::2] for item in self.column),
            kind=self.kind,
            method=self.method,
            time_zone=self.time_zone,
            is_day_first=_is_true(self.day_first),
            has_decimal_comma=_is_true(self.decimal_comma),
        )


class ImportQuery(TableQuery):
    """How to read a table, and whether bad lines may be left out."""

    skip_bad: Flag = "false"
    by: str = Field(
        default="", max_length=100, description="Who brings it in: a lead where a lead decides."
    )


class ExportQuery(BaseModel):
    """As what to hand the log out."""

    model_config = ConfigDict(extra="forbid")

    format: Literal["jsonl", "csv"] = "jsonl"


async def receive_file(request: Request) -> AsyncIterator[Path]:
    """The body in a file of its own, gone when the request is answered."""
    if _media_type(request) not in (JSON_LINES, CSV):
        raise HTTPException(415, f"Send the file as {JSON_LINES} or {CSV}.")
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log"
        with path.open("wb") as file:
            async for piece in request.stream():
                file.write(piece)
        yield path


FileDep = Annotated[Path, Depends(receive_file)]


@router.post("/import/preview", openapi_extra=FILE_BODY)
def preview_import(
    request: Request, store: StoreDep, room: WrittenRoomDep, now: NowDep, file: FileDep,
    asked: Annotated[TableQuery, Query()],
) -> ImportPreview:  # fmt: skip
    """Read a log and hold it against the room; nothing is stored."""
    options = asked.options() if _media_type(request) == CSV else None
    checked = importing.check_file(store, room.key, file, now, options)
    preview = ImportPreview.model_validate(checked.preview)
    if checked.preview.form is not None:
        columns = checked.preview.form.columns
        preview.columns = [ColumnOut.model_validate(column) for column in columns]
    return preview


@router.post("/import", status_code=201, openapi_extra=FILE_BODY)
def import_log(
    request: Request, response: Response, store: StoreDep, room: WrittenRoomDep, now: NowDep,
    submission: SubmissionDep, file: FileDep, asked: Annotated[ImportQuery, Query()],
) -> Imported:  # fmt: skip
    """Store a log, all or nothing; bad lines are left out only where `skip_bad` is true."""
    # What was stored under its ids is skipped the second time: the file says what is the same.
    once = submission and _digest(submission, file)
    done = once and stored_before(store, room.key, once)
    if done:
        response.headers["Idempotent-Replayed"] = "true"
    else:
        options = asked.options() if _media_type(request) == CSV else None
        checked = importing.check_file(store, room.key, file, now, options)
        clock = request.app.state.clock
        origin = Origin(
            token=once or "", name="sent by a program", by=asked.by,
            is_led=_is_led(store, room, checked, asked.by),
        )  # fmt: skip
        done = _store(store, room.key, checked, clock, origin, asked.skip_bad == "true")
    if not done.count:
        response.status_code = 200
    return Imported(stored=done.count)


@router.get(
    "/export",
    response_class=StreamingResponse,
    responses={
        200: {"content": {name: {"schema": {"type": "string"}} for name in (JSON_LINES, CSV)}}
    },
)
def export_log(
    store: StoreDep, room: RoomDep, asked: Annotated[ExportQuery, Query()]
) -> StreamingResponse:
    """The whole log in the order in which it was recorded, corrected and withdrawn entries too."""
    is_table = asked.format == "csv"
    lines = (log_table if is_table else log_lines)(store, room_id(room))
    name = f'attachment; filename="{room.key}.{asked.format}"'
    return StreamingResponse(
        in_blocks(lines),
        media_type=CSV if is_table else JSON_LINES,
        headers={"Content-Disposition": name},
    )


def _media_type(request: Request) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def _is_led(store: Store, room: RoomRow, checked: Checked, by: str) -> bool:
    if not checked.preview.decided:
        return False
    with reading(store) as session:
        require_lead(session, room_id(room), by)
    return True


def _store(
    store: Store, room: str, checked: Checked, clock: Clock, origin: Origin, skip_bad: bool
) -> Stored:
    if checked.preview.bad_lines and not skip_bad:
        raise _bad_lines(checked)
    return importing.store_checked(store, room, checked, clock, origin, skip_bad)


def _digest(submission: str, file: Path) -> str:
    digest = blake2b(submission.encode(), digest_size=14)
    with file.open("rb") as opened:
        while piece := opened.read(2**20):
            digest.update(piece)
    return f"api-{digest.hexdigest()}"


def _bad_lines(checked: Checked) -> FieldErrors:
    return FieldErrors(
        [
            FieldError(f"line {item.line}, {item.field}", item.message)
            for item in checked.preview.errors
        ]
    )


def _is_true(flag: Flag | None) -> bool | None:
    return None if flag is None else flag == "true"
