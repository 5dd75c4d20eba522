"""The room log: reading it, adding to it, correcting and withdrawing what is in it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlmodel import Session

from app.api.deps import (
    KEY_PATTERN,
    ConfirmedDep,
    Key,
    SubmissionDep,
    UnchangedRoomDep,
    WrittenRoomDep,
    address,
    room_id,
)
from app.api.entry_models import AnyCorrection, AnyNewEntry, Batch, Name, Note, line_of, to_entry
from app.api.moments import Moment
from app.api.paging import Cursor, Limit, link_header
from app.api.requests import StrictRoute
from app.domain.errors import Conflict, FieldError, FieldErrors
from app.domain.roomlog.kinds import KINDS, Entry, Withdrawal
from app.incoming import NowDep, SessionDep, StoreDep
from app.services import door
from app.services.clockwork import require_clock
from app.services.door import Recorded
from app.services.entries import entry_of
from app.services.filtering import require_named
from app.store.instants import from_us, maybe_us
from app.store.log import LogFilter, find_entry, history_of, log_page
from app.store.sessions import reading
from app.store.tables import CourseRow, EntryRow, RoomRow

router = APIRouter(
    prefix="/v1/rooms/{room}/entries",
    tags=["entries"],
    route_class=StrictRoute,
)


class EffectOut(BaseModel):
    """What an entry did to the estimate of its bath."""

    fill: int
    mean_before_percent: float
    mean_percent: float
    p05_percent: float
    p95_percent: float
    resin_in_g: float
    resin_out_g: float
    evaporated_g: float
    correction_g: float
    measured_percent: float | None
    measured_sd_percent: float | None
    is_set_aside: bool
    is_apparent: bool

    model_config = ConfigDict(from_attributes=True)


class EntryOut(BaseModel):
    """An entry: the line of the room log, and what became of it."""

    entry: dict[str, Any] = Field(description="The entry as one line of the room log.")
    recorded_at: datetime
    voided_by: str | None = Field(description="The entry that corrects or withdraws this one.")
    effect: EffectOut | None = Field(default=None, description="None if it does not count.")


class EntryPage(BaseModel):
    """One page of the log, newest first, and the cursors of the pages beside it."""

    entries: list[EntryOut]
    older: str | None
    newer: str | None


class EntryHistory(EntryOut):
    """An entry and all that it replaced and that replaced it, oldest first."""

    history: list[EntryOut]


class RecordedOut(BaseModel):
    """What was stored."""

    ids: list[str]
    skipped: int = Field(description="How many entries were already there, by their id.")


class WithdrawalIn(BaseModel):
    """Who takes an entry back, and why."""

    model_config = ConfigDict(extra="forbid")

    by: Name = None
    note: Note = None


class EntryQuery(BaseModel):
    """Which entries to read."""

    model_config = ConfigDict(extra="forbid")

    kind: Literal[tuple(KINDS)] | None = None  # type: ignore[valid-type]
    tank: str | None = Field(default=None, pattern=KEY_PATTERN)
    resin: str | None = Field(default=None, pattern=KEY_PATTERN)
    from_: Moment | None = Field(default=None, alias="from", description="The first instant.")
    to: Moment | None = Field(default=None, description="The end, not included.")
    voided: Literal["true", "false"] = Field(
        default="true", description="Also entries that were corrected or withdrawn."
    )
    cursor: Cursor = None
    limit: Limit = 50


@router.get("")
def list_entries(
    request: Request, response: Response, session: SessionDep, room: UnchangedRoomDep,
    asked: Annotated[EntryQuery, Query()],
) -> EntryPage:  # fmt: skip
    """The log, newest first; a tank or resin that the room never had is not found."""
    require_named(session, room_id(room), tank=asked.tank, resin=asked.resin)
    shown = LogFilter(
        tank=asked.tank,
        kind=asked.kind,
        resin=asked.resin,
        since_us=maybe_us(asked.from_),
        until_us=maybe_us(asked.to),
        with_voided=asked.voided == "true",
    )
    page = log_page(session, room_id(room), shown, asked.cursor, asked.limit)
    if link := link_header(request, {"next": page.older, "prev": page.newer}):
        response.headers["Link"] = link
    entries = [entry_out(item.row, item.effect) for item in page.entries]
    return EntryPage(entries=entries, older=page.older, newer=page.newer)


@dataclass
class Writing:
    """A write to the log: where it goes, when, and under which key it counts once."""

    request: Request
    response: Response
    store: StoreDep
    room: WrittenRoomDep
    now: NowDep
    submission: SubmissionDep
    confirmed: ConfirmedDep

    def record(self, entries: Sequence[Entry]) -> RecordedOut:
        """Store entries and answer with their ids."""
        self.require_clock(entries)
        done = door.enter(
            self.store, self.room.key, entries, self.now, self.submission, confirmed=self.confirmed
        )
        return self.answer(done)

    def require_clock(self, entries: Sequence[Entry] = ()) -> None:
        """Store nothing under a date that may be wrong."""
        with reading(self.store) as session:
            require_clock(session, self.room, self.now, entries)

    def answer(self, done: Recorded) -> RecordedOut:
        """What was stored; 200 where nothing was, since it was there already."""
        if done.is_replayed:
            self.response.headers["Idempotent-Replayed"] = "true"
        if not done.ids:
            self.response.status_code = 200
        elif len(done.ids) == 1:
            location = address(self.request, self.room.key, "entries", done.ids[0])
            self.response.headers["Location"] = location
        return RecordedOut(ids=list(done.ids), skipped=done.skipped)


WritingDep = Annotated[Writing, Depends()]


@router.post("", status_code=201)
def add_entry(writing: WritingDep, body: AnyNewEntry) -> RecordedOut:
    """Add an entry. With an id that is stored already nothing happens, and 200 says so."""
    return writing.record([to_entry(body, writing.now)])


@router.post("/batch", status_code=201)
def add_entries(writing: WritingDep, body: Batch) -> RecordedOut:
    """Add up to 1000 entries, all or none."""
    entries = [_placed(place, item, writing.now) for place, item in enumerate(body.entries)]
    try:
        return writing.record(entries)
    except FieldErrors as error:
        raise _at_place(error, error.place) from None


@router.get("/{entry_id}")
def read_entry(session: SessionDep, room: UnchangedRoomDep, entry_id: Key) -> EntryHistory:
    """An entry, with what it replaced and what replaced it."""
    row = find_entry(session, room_id(room), entry_id)
    effect = session.get(CourseRow, row.id)
    history = [entry_out(item) for item in history_of(session, room_id(room), entry_id)]
    return EntryHistory(**dict(entry_out(row, effect)), history=history)


@router.post("/{entry_id}/correction", status_code=201)
def correct_entry(writing: WritingDep, entry_id: Key, body: AnyCorrection) -> RecordedOut:
    """Replace an entry by another of its kind; the original stays in the history.

    Where the time is left out, that of the original stands.
    """
    with reading(writing.store) as session:
        old = _correctable(session, writing.room, entry_id)
    return writing.record([to_entry(body, writing.now, from_us(old.at_us), entry_id)])


@router.post("/{entry_id}/withdrawal", status_code=201)
def withdraw_entry(writing: WritingDep, entry_id: Key, body: WithdrawalIn) -> RecordedOut:
    """Take an entry back; it stays in the history and no longer counts."""
    by, note = body.by or "", body.note or ""
    word = Withdrawal(at=writing.now, by=by, note=note, withdraws=entry_id)
    writing.require_clock()
    done = door.enter(writing.store, writing.room.key, [word], writing.now, writing.submission)
    return writing.answer(done)


def entry_out(row: EntryRow, effect: CourseRow | None = None) -> EntryOut:
    """An entry as the API shows it."""
    return EntryOut(
        entry=line_of(entry_of(row)),
        recorded_at=from_us(row.recorded_at_us),
        voided_by=row.voided_by,
        effect=None if effect is None else EffectOut.model_validate(effect),
    )


def _placed(place: int, body: AnyNewEntry, now: datetime) -> Entry:
    try:
        return to_entry(body, now)
    except FieldErrors as error:
        raise _at_place(error, place) from None


def _at_place(error: FieldErrors, place: int | None) -> FieldErrors:
    """The same errors with their entry's place in the batch before the names of their fields."""
    if place is None:
        return error
    return FieldErrors(
        [FieldError(f"entries.{place}.{item.field}", item.message) for item in error.errors]
    )


def _correctable(session: Session, room: RoomRow, entry_id: str) -> EntryRow:
    row = find_entry(session, room_id(room), entry_id)
    if row.kind in ("tank", "resin", "withdrawal"):
        raise Conflict(
            "Entries of this kind cannot be corrected. Enter a tank_change, or the resin again."
        )
    return row
