"""Part lots: the record of one, and recalls."""

from datetime import date, datetime, time, timedelta
from typing import Annotated, Literal
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Query
from pydantic import BaseModel, ConfigDict, Field

from app.api.deps import MinuteRoomDep, UnchangedRoomDep, room_id
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes
from app.domain.errors import FieldError, FieldErrors, NotFound
from app.domain.part_lots.recall import OF_A_LOT, REASONS
from app.incoming import NowDep, SessionDep
from app.services.part_lots.lots import latest
from app.services.part_lots.recall import Recall, recall
from app.services.part_lots.record import record_of

router = APIRouter(prefix="/v1/rooms/{room}/part-lots", tags=["part lots"], route_class=StrictRoute)
Lot = Annotated[str, Query(min_length=1, max_length=200, description="As on the label.")]


class LotLineOut(FromAttributes):
    """A part lot with the last entry that names it."""

    lot: str
    at: datetime
    kind: str
    tank: str
    resin: str


class StepOut(FromAttributes):
    """What was done."""

    at: datetime
    by: str
    entry: str = Field(description="Id of the entry.")


class ResinStepOut(StepOut):
    """From what the parts are printed."""

    resin: str
    resin_lot: str
    parts: int | None
    build: str
    job: str


class WashStepOut(StepOut):
    """A wash, with its bath at that minute as the log now has it."""

    tank: str
    resin: str
    parts: int | None
    minutes: float | None
    percent: float | None = Field(description="The estimate when the parts went in, mass percent.")
    after_percent: float | None
    low_percent: float | None = Field(description="After the wash, with `high_percent`: 90 %.")
    high_percent: float | None
    limit_percent: float | None = Field(description="Of the tank as it was then.")
    fill: int | None
    filled_at: datetime | None
    held: str = Field(description="Why the tank was on hold; empty if it was not.")
    is_above: bool


class CureStepOut(StepOut):
    """A cure, with the light of its station then as the log now has it. Doses in mJ/cm2."""

    station: str
    resin: str
    minutes: float
    parts: int | None
    dose: float | None
    least: float | None = Field(description="At the weakest place, 19 times of 20.")
    logged_least: float | None = Field(description="As it was worked out when it was entered.")
    asked: float | None
    dried_minutes: float | None
    dry_asked_minutes: float | None
    lamp_since_at: datetime | None
    lamp: str
    reading: str = Field(description="Id of the light reading that the dose rests on.")
    read_at: datetime | None
    meter: str
    set_aside: bool
    overdue: datetime | None = Field(description="Since when the check was overdue, if it was.")


class RejectStepOut(StepOut):
    """Parts that came out of a wash bad."""

    tank: str
    finding: str
    parts: int | None
    outcome: str


class DecisionOut(StepOut):
    """The lot was released or rejected."""

    is_release: bool
    lead: str
    accepted: list[str]
    reason: str


class ChangeOut(StepOut):
    """What came to the log after the decision."""

    what: str
    is_gone: bool


class RecordOut(FromAttributes):
    """The record of a part lot."""

    lot: str
    standing: Literal["open", "released", "rejected"]
    is_flagged: bool = Field(description="Released, and the log now says something else.")
    findings: list[str] = Field(description="What a release has to accept by name.")
    unaccepted: list[str]
    resins: list[ResinStepOut]
    washes: list[WashStepOut]
    cures: list[CureStepOut]
    rejects: list[RejectStepOut]
    decision: DecisionOut | None
    changes: list[ChangeOut]


class TouchOut(FromAttributes):
    """What a wash or cure of a lot touched."""

    reason: str
    at: datetime
    entry: str
    tank: str
    station: str
    fill: int | None
    percent: float | None
    limit_percent: float | None
    since_at: datetime | None
    why: str


class RecalledLotOut(FromAttributes):
    """A part lot with all that it touched."""

    lot: str
    reasons: list[str]
    standing: Literal["open", "released", "rejected"]
    decided_at: datetime | None
    decided_by: str
    touches: list[TouchOut]


class RecallOut(FromAttributes):
    """The lots of a recall, the one touched last in front."""

    is_behind: bool = Field(description="An import is not finished: lots may be missing.")
    lots: list[RecalledLotOut]


class RecallQuery(BaseModel):
    """For what, and between which days of the room, both included."""

    model_config = ConfigDict(extra="forbid")

    reason: list[Literal[REASONS]] = Field(  # type: ignore[valid-type]
        min_length=1, description="One or more; the last two ask for a lot."
    )
    since: date
    until: date
    resin_lot: str = Field(default="", max_length=200)
    solvent_lot: str = Field(default="", max_length=200)


@router.get("")
def read_lots(session: SessionDep, room: MinuteRoomDep, now: NowDep) -> list[LotLineOut]:
    """The part lots that entries named last."""
    lines = latest(session, room_id(room), now)
    return [LotLineOut.model_validate(one) for one in lines]


@router.get("/record")
def read_record(session: SessionDep, room: UnchangedRoomDep, lot: Lot) -> RecordOut:
    """The record of a part lot: resin, washes, drying, cures, release."""
    record = record_of(session, room, lot)
    if not record.is_known:
        raise NotFound("No entry in this room names this part lot.")
    return RecordOut.model_validate(record)


@router.get("/recall")
def read_recall(
    session: SessionDep, room: UnchangedRoomDep, asked: Annotated[RecallQuery, Query()]
) -> RecallOut:
    """The part lots that touched what is asked for, with when and why."""
    _check(asked)
    zone = ZoneInfo(room.time_zone)
    since = datetime.combine(asked.since, time(), zone)
    until = datetime.combine(asked.until + timedelta(days=1), time(), zone)
    reasons = frozenset(asked.reason)
    found = recall(session, room, Recall(reasons, since, until, asked.resin_lot, asked.solvent_lot))
    return RecallOut.model_validate(found)


def _check(asked: RecallQuery) -> None:
    for name in ("since", "until"):
        if not 1970 <= getattr(asked, name).year < 2200:
            raise FieldErrors([FieldError(name, "The day must be between 1970 and 2200.")])
    if asked.until < asked.since:
        raise FieldErrors([FieldError("until", "The last day is before the first.")])
    for reason, name in zip(OF_A_LOT, ("resin_lot", "solvent_lot"), strict=True):
        if reason in asked.reason and not getattr(asked, name).strip():
            raise FieldErrors([FieldError(name, "Enter the lot.")])
