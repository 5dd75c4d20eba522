"""The room's resins: their data, and the carry-in that the room has learned for each."""

from fastapi import APIRouter
from pydantic import BaseModel, Field

from app.api.deps import UnchangedRoomDep, room_id
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes
from app.domain.baths.estimator import CarryIn
from app.incoming import SessionDep
from app.services.baths.states import load_filter
from app.store import queries
from app.store.tables import ResinRow

router = APIRouter(prefix="/v1/rooms/{room}", tags=["resins"], route_class=StrictRoute)


class CarryInOut(FromAttributes):
    """How much of a resin a square centimetre of parts carries in: the middle and 90 % interval."""

    median_g_cm2: float
    low_g_cm2: float
    high_g_cm2: float
    washes: int = Field(description="What it was learned from; 0: only the usual value.")


class ResinOut(BaseModel):
    """A resin."""

    key: str
    name: str
    density_g_ml: float
    is_filled: bool
    filler_percent: float | None
    carry_in: CarryInOut | None


class ResinList(BaseModel):
    """The room's resins by name."""

    resins: list[ResinOut]


@router.get("/resins")
def list_resins(session: SessionDep, room: UnchangedRoomDep) -> ResinList:
    """All resins. A new one is an entry of the kind `resin`."""
    learned = {item.resin: item for item in load_filter(session, room).carry_in()}
    rows = queries.resins(session, room_id(room))
    return ResinList(resins=[_resin_out(row, learned.get(row.key)) for row in rows])


def _resin_out(row: ResinRow, learned: CarryIn | None) -> ResinOut:
    return ResinOut(
        key=row.key,
        name=row.name,
        density_g_ml=row.density_g_ml,
        is_filled=row.is_filled,
        filler_percent=row.filler_percent,
        carry_in=None if learned is None else CarryInOut.model_validate(learned),
    )
