"""The room's own reject rate by saturation: what should set its limits."""

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from app.api.deps import MinuteRoomDep, NowDep, SessionDep, room_id
from app.api.paging import read_digits
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes
from app.domain.baths.rejects import BAND_PERCENT, Verdict, reject_rate
from app.store.queries import reject_counts

router = APIRouter(prefix="/v1/rooms/{room}", tags=["rejects"], route_class=StrictRoute)


class Band(FromAttributes):
    """Washes and rejects in one band of saturation; 90 % Wilson interval of the rate."""

    low_percent: float
    high_percent: float
    washes: int
    rejects: int
    rate: float | None = Field(description="Rejects per wash; None without washes.")
    low_rate: float
    high_rate: float


class RejectRateOut(FromAttributes):
    """The reject rate by saturation, and what can honestly be said of it."""

    bands: list[Band]
    washes: int
    rejects: int
    verdict: Verdict
    rises_at_percent: float | None = Field(
        description="From where it is surely higher than below; None while it is not."
    )


class RejectQuery(BaseModel):
    """How far to look back."""

    model_config = ConfigDict(extra="forbid")

    days: Annotated[int, BeforeValidator(read_digits)] = Field(default=182, ge=1, le=3650)


@router.get("/rejects")
def read_rejects(
    session: SessionDep, room: MinuteRoomDep, now: NowDep, asked: Annotated[RejectQuery, Query()]
) -> RejectRateOut:
    """Rejects per wash by band of saturation."""
    since = now - timedelta(days=asked.days)
    counts = reject_counts(session, room_id(room), since, BAND_PERCENT)
    return RejectRateOut.model_validate(reject_rate(*counts))
