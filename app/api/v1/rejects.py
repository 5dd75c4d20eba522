"""The room's own reject rate by saturation: what should set its limits."""

from datetime import timedelta
from typing import Annotated

from fastapi import APIRouter, Query
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from app.api.deps import MinuteRoomDep, room_id
from app.api.paging import read_digits
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes
from app.domain.baths.rejects import BAND_PERCENT, Verdict, reject_rate
from app.incoming import NowDep, SessionDep
from app.services.spend.reject_limit import limit_advice
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
        description="Where it becomes clearly higher than below; None if it does not."
    )


class RejectQuery(BaseModel):
    """How far to look back."""

    model_config = ConfigDict(extra="forbid")

    days: Annotated[int, BeforeValidator(read_digits)] = Field(default=182, ge=1, le=3650)


class TrialOut(FromAttributes):
    """A bath let run on to find out."""

    until_percent: float
    washes: int = Field(description="This many beyond the limit would tell.")


class LimitAdviceOut(FromAttributes):
    """What rejects and money say of a limit. Amounts are a year's, in the currency's smallest
    unit."""

    verdict: str = Field(description="change, keep or cannot_tell.")
    limit_percent: float
    best_percent: float
    saves_cents: float
    low_cents: float = Field(description="10 % are below; high_cents: 10 % are above.")
    high_cents: float
    chance: float = Field(description="Chance that it saves anything.")
    washes: float
    rejects: float
    rise_chance: float = Field(description="Chance that rejects rise with the saturation.")
    more_rejects: int | None
    trial: TrialOut | None


class LimitOut(BaseModel):
    """The advice for the baths of one limit; None with what is missing."""

    advice: LimitAdviceOut | None
    missing: str = Field(description="`price` of a reject, or what to log; empty if nothing.")
    tanks: list[str]
    on_trial: str | None


@router.get("/rejects/limit")
def read_limit(session: SessionDep, room: MinuteRoomDep, now: NowDep) -> LimitOut:
    """The limit that the room's own rejects and money ask for."""
    found = limit_advice(session, room, now)
    return LimitOut(
        advice=None if found.advice is None else LimitAdviceOut.model_validate(found.advice),
        missing=found.missing,
        tanks=[view.key for view in found.tanks],
        on_trial=found.on_trial.key if found.on_trial else None,
    )


@router.get("/rejects")
def read_rejects(
    session: SessionDep, room: MinuteRoomDep, now: NowDep, asked: Annotated[RejectQuery, Query()]
) -> RejectRateOut:
    """Rejects per wash by band of saturation."""
    since = now - timedelta(days=asked.days)
    counts = reject_counts(session, room_id(room), since, BAND_PERCENT)
    return RejectRateOut.model_validate(reject_rate(*counts))
