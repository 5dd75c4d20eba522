"""What flammable liquid stands in the fire area: the total that every page names."""

from typing import Literal

from fastapi import APIRouter
from pydantic import Field

from app.api.deps import MinuteRoomDep, room_id
from app.api.requests import StrictRoute
from app.api.v1.tanks import FromAttributes
from app.incoming import NowDep, SessionDep
from app.services.storage import stored

router = APIRouter(prefix="/v1/rooms/{room}", tags=["storage"], route_class=StrictRoute)


class StoredOut(FromAttributes):
    """Liquid somewhere in the fire area."""

    where: Literal["tanks", "shelf", "drums"]
    key: str = Field(description="Of the tank, item or drum.")
    name: str
    litres: float
    category: int | None = Field(
        description="29 CFR 1910.106(a)(19), 1 to 4; null if it is not a flammable liquid."
    )
    remark: str = Field(description="Why a category was assumed that nobody has measured.")


class StorageOut(FromAttributes):
    """All that stands in the fire area, against the limit that the site has entered."""

    total_l: float = Field(description="Flammable liquids: baths, shelf and waste together.")
    limit_l: float | None
    free_l: float | None = Field(description="What more may come in; below 0 where it is over.")
    is_over: bool
    stored: list[StoredOut]


@router.get("/storage")
def read_storage(session: SessionDep, room: MinuteRoomDep, now: NowDep) -> StorageOut:
    """Baths as they stand (of a swap under way what its steps left), solvent by lot, waste."""
    return StorageOut.model_validate(stored(session, room_id(room), now))
