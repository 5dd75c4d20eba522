"""How far the forecasts can be trusted: the room's own past, replayed as it was known."""

from fastapi import APIRouter
from pydantic import BaseModel, Field

from app.api.deps import StoreDep, UnchangedRoomDep
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes
from app.domain.errors import DomainError
from app.services.baths.track_record import TooLong, track_record

router = APIRouter(prefix="/v1/rooms/{room}", tags=["forecasts"], route_class=StrictRoute)


class MissOut(FromAttributes):
    """An estimate against the reading after it."""

    difference_percent: float = Field(description="Mass percent.")
    in_sd: float = Field(description="In standard deviations of both.")


class HitOut(FromAttributes):
    """A forecast against the passing of the limit that came."""

    lead_days: float = Field(description="From the forecast to the passing.")
    error_days: float | None = Field(
        description="The middle forecast minus the passing; None where it lay beyond a year."
    )
    is_inside: bool = Field(description="The passing lay between the early and the late day.")


class TrackRecord(BaseModel):
    """What a replay of the whole log showed."""

    misses: dict[str, list[MissOut]] = Field(description="By the method of the reading.")
    hits: list[HitOut]
    passings: int = Field(description="How often a first limit was passed.")


@router.get("/forecasts")
def read_track_record(store: StoreDep, room: UnchangedRoomDep) -> TrackRecord:
    """Replay the log and hold what was said against what came; a long log takes minutes."""
    try:
        scores = track_record(store, room.key, lambda _share: None)
    except TooLong:
        raise DomainError("This log is too long to be replayed here. Export it instead.") from None
    return TrackRecord(
        misses={
            method: [MissOut.model_validate(miss) for miss in misses]
            for method, misses in scores.misses.items()
        },
        hits=[HitOut.model_validate(hit) for hit in scores.hits],
        passings=scores.passings,
    )
