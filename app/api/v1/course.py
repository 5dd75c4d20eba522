"""The course of a tank's saturation over time."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from app.api.deps import Key, MinuteRoomDep, room_id
from app.api.moments import Moment
from app.api.paging import read_digits
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes, find_tank
from app.domain.baths.course import thinned
from app.incoming import NowDep, SessionDep
from app.store import queries

router = APIRouter(prefix="/v1/rooms/{room}/tanks/{tank}", tags=["tanks"], route_class=StrictRoute)
MOST_POINTS = 10_000


class CoursePoint(FromAttributes):
    """The estimate after an entry; for a reading also what it measured. Mass percent."""

    at: datetime
    kind: str
    resin: str | None
    fill: int
    mean_before: float
    mean: float
    p05: float
    p95: float
    measured: float | None
    measured_sd: float | None
    is_set_aside: bool
    is_apparent: bool
    notes: tuple[str, ...]


class Course(BaseModel):
    """A tank's estimates in order of time.

    `is_thinned` says that points were left out; the highest and the lowest of each stretch, and
    every swap, are still there.
    """

    since: datetime
    until: datetime
    points: list[CoursePoint]
    is_thinned: bool
    fill_starts: list[datetime] = Field(description="When the latest fills began, newest first.")


class CourseQuery(BaseModel):
    """Which stretch to read, and how finely."""

    model_config = ConfigDict(extra="forbid")

    from_: Moment | None = Field(default=None, alias="from", description="Left out: this fill.")
    to: Moment | None = Field(default=None, description="Left out: now.")
    points: Annotated[int, BeforeValidator(read_digits)] = Field(
        default=1000, ge=10, le=MOST_POINTS, description="Rough maximum number of points."
    )


@router.get("/course")
def read_course(
    session: SessionDep, room: MinuteRoomDep, now: NowDep, tank: Key,
    asked: Annotated[CourseQuery, Query()],
) -> Course:  # fmt: skip
    """The estimate after each entry of a stretch of time."""
    view = find_tank(session, room, tank, now)
    since, until = asked.from_ or view.fill_started_at, asked.to or now
    found = queries.course(session, room_id(room), tank, since, until)
    kept = thinned(found, asked.points // 4)
    return Course(
        since=since,
        until=until,
        points=[CoursePoint.model_validate(point) for point in kept],
        is_thinned=len(kept) < len(found),
        fill_starts=queries.fill_starts(session, room_id(room), tank),
    )
