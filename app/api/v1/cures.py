"""How long to cure today: each station's time for a resin, by its weakest place."""

from typing import Annotated, Literal

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field

from app.api.deps import Key, MinuteRoomDep, room_id
from app.api.requests import StrictRoute
from app.domain.errors import NotFound
from app.domain.roomlog.kinds.curing import POSITIONS
from app.incoming import NowDep, SessionDep
from app.services.curing.stations import recipes, times_today

router = APIRouter(prefix="/v1/rooms/{room}", tags=["cures"], route_class=StrictRoute)


class PlaceOut(BaseModel):
    """A measured place of a chamber today."""

    place: str
    mw_cm2: float
    low_mw_cm2: float = Field(
        description="The lower end of the 90 % interval, with the meter's error."
    )
    high_mw_cm2: float
    least_dose_mj_cm2: float | None = Field(description="In the time today, at the lower end.")
    is_dark: bool = Field(description="Put no part there.")
    is_carried: bool = Field(description="By an earlier reading: the last one left it out.")


class CureTimeOut(BaseModel):
    """The time on one station, or why it is not for this cure."""

    station: str
    name: str
    can: bool
    refusals: list[str]
    remarks: list[str]
    dose_mj_cm2: float
    seconds: float | None = Field(
        description="Long enough for the weakest place to get the dose 19 times of 20; none if the "
        "lamp was never measured."
    )
    likely_seconds: float | None = Field(description="By the best estimate, without a reserve.")
    new_seconds: float | None = Field(description="On the new lamp.")
    weakest_place: str | None = Field(description="Of the places in use.")
    used_places: list[str] = Field(description="As asked for; none: the whole chamber.")
    places: list[PlaceOut]


PlacesQuery = Annotated[
    list[Literal[POSITIONS]] | None,  # type: ignore[valid-type]
    Query(description="A place that parts lie in, once for each; left out: anywhere."),
]


@router.get("/cure-times/{resin}")
def read_cure_times(
    session: SessionDep, room: MinuteRoomDep, resin: Key, now: NowDep, place: PlacesQuery = None
) -> list[CureTimeOut]:
    """Each station in use, those that can cure the resin first, the quickest in front."""
    used = [one for one in POSITIONS if one in (place or ())]
    recipe = recipes(session, room_id(room)).get(resin)
    if recipe is None:
        raise NotFound(f"There is no cure recipe for “{resin}” in this room.")
    return [
        CureTimeOut(
            station=station.key, name=station.name, can=today.can,
            refusals=list(today.refusals), remarks=list(today.remarks),
            dose_mj_cm2=today.dose_mj_cm2, seconds=today.seconds,
            likely_seconds=today.likely_seconds, new_seconds=today.new_seconds,
            weakest_place=today.weakest.place if today.weakest else None,
            used_places=list(today.placement.used),
            places=[
                PlaceOut(
                    place=one.place, mw_cm2=one.mw_cm2, low_mw_cm2=one.low_mw_cm2,
                    high_mw_cm2=one.high_mw_cm2, is_dark=one.is_dark, is_carried=one.is_carried,
                    least_dose_mj_cm2=one.least_dose_mj_cm2(today.seconds)
                    if today.seconds is not None else None,
                )
                for one in today.placement.spots
            ],
        )
        for station, today in times_today(session, room, recipe, now, used)
    ]  # fmt: skip
