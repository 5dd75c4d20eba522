"""How far the forecasts can be trusted: the room's own record of them."""

from datetime import datetime

from fastapi import APIRouter
from pydantic import BaseModel, Field

from app.api.deps import UnchangedRoomDep
from app.api.requests import StrictRoute
from app.domain.baths.record import Outcome, Said, tally
from app.incoming import SessionDep
from app.services.baths.track_record import misses_of, record_of

router = APIRouter(prefix="/v1/rooms/{room}", tags=["forecasts"], route_class=StrictRoute)


class SaidOut(BaseModel):
    """A forecast as it was said, and what was measured later. Mass percent."""

    tank: str
    fill: int
    stage: float = Field(description="Share of its limit that the bath had reached.")
    said_at: datetime
    entry: str | None = Field(description="The entry that brought the bath there.")
    limit_percent: float
    early_at: datetime | None = Field(description="None beyond a year; so are the next two.")
    middle_at: datetime | None
    late_at: datetime | None
    passed_at: datetime | None = Field(description="When the estimate passed the limit.")
    read_at: datetime | None = Field(description="The last reading that counted.")
    read_percent: float | None = Field(description="The estimate with it.")
    said_low_percent: float | None = Field(description="Forecast for that instant: 10 %.")
    said_high_percent: float | None = Field(description="Forecast for that instant: 90 %.")
    swapped_at: datetime | None
    outcome: Outcome | None = Field(description="None until a reading shows it.")


class LevelsOut(BaseModel):
    """The shares of the possible futures at which this room's days are named."""

    early: float
    middle: float
    late: float


class TrackRecord(BaseModel):
    """What was said of the room's baths and what came of it."""

    fills: int = Field(description="Baths that were swapped after a forecast and a reading.")
    as_said: int
    sooner: int
    later: int
    levels: LevelsOut
    said: list[SaidOut]
    misses: dict[str, list[float]] = Field(
        description="By method: readings less the estimates just before them, mass percent."
    )


@router.get("/forecasts")
def read_track_record(session: SessionDep, room: UnchangedRoomDep) -> TrackRecord:
    """Each forecast that was kept, the oldest first, and what came of it."""
    record = record_of(session, room)
    found = tally(record.closed)
    misses: dict[str, list[float]] = {}
    for miss in misses_of(session, room):
        misses.setdefault(miss.method, []).append(round(miss.difference_percent, 4))
    early, middle, late = record.levels.days
    return TrackRecord(
        fills=found.fills,
        as_said=found.as_said,
        sooner=found.sooner,
        later=found.later,
        levels=LevelsOut(early=early, middle=middle, late=late),
        said=[_out(one) for one in (*record.closed, *record.open)],
        misses=misses,
    )


def _out(said: Said) -> SaidOut:
    low, high = said.range_percent or (None, None)
    return SaidOut(
        tank=said.tank, fill=said.fill, stage=said.stage, said_at=said.at, entry=said.entry,
        limit_percent=said.limit_percent, early_at=said.early_at, middle_at=said.middle_at,
        late_at=said.late_at, passed_at=said.passed_at, read_at=said.seen_at,
        read_percent=said.seen_percent if said.seen_at else None,
        said_low_percent=low, said_high_percent=high, swapped_at=said.ended_at,
        outcome=said.outcome,
    )  # fmt: skip
