"""Tanks: their estimates and forecasts, the queue of swaps, and why a number is what it is."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field
from sqlmodel import Session

from app.api.deps import Key, MinuteRoomDep, room_id
from app.api.requests import StrictRoute
from app.api.v1.saturation import Saturation, saturation
from app.domain.baths.evidence import missing_words
from app.domain.baths.explaining import Said
from app.domain.errors import NotFound
from app.incoming import NowDep, SessionDep
from app.services.baths.explaining import said_of
from app.services.baths.worth import worth_of
from app.services.incidents.doubts import with_doubts
from app.store import queries
from app.store.queries import Board, TankView
from app.store.tables import RoomRow

router = APIRouter(prefix="/v1/rooms/{room}", tags=["tanks"], route_class=StrictRoute)


class FromAttributes(BaseModel):
    """A model that is read from an object's attributes of the same names."""

    model_config = ConfigDict(from_attributes=True)


class Limit(BaseModel):
    """A limit as it was entered, and in mass percent."""

    mass_percent: float
    basis: str = Field(description="mass_percent, volume_percent or g_per_l.")
    entered: float = Field(description="The value in that basis.")
    is_passed: bool


class Evidence(FromAttributes):
    """A reading that speaks for an explanation, mass percent."""

    entry: str = Field(description="Its id.")
    at: datetime
    channel: str = Field(description="The instrument.")
    percent: float
    before_percent: float = Field(description="The estimate before it.")


class Remedy(FromAttributes):
    """What would settle it: an entry as far as it is known, for a person to check.

    With `corrects` it goes to that entry's `/correction`, else to `/entries`.
    """

    text: str
    kind: str
    fields: dict[str, Any]
    at: datetime | None
    corrects: str | None


class Explanation(FromAttributes):
    """What may lie behind the last readings, in one sentence, and what would settle it."""

    name: str = Field(description="Its name in an entry `explanation_dismissed`.")
    chance: float | None = Field(description="0 to 1; None if none is worked out.")
    sentence: str
    since: datetime | None
    entry: str | None = Field(description="The entry it is about, if any.")
    readings: list[Evidence]
    act: Remedy


class Estimate(BaseModel):
    """How much resin the bath holds; p05 to p95 is the 90 % band."""

    at: datetime
    mean: Saturation
    p05: Saturation
    p95: Saturation
    volume_l: float
    resin_g: float
    is_apparent: bool = Field(description="Only density spoke: water taken up would look the same.")


class Forecast(BaseModel):
    """When the first limit is passed; None lies beyond a year, or is not known yet."""

    made_at: datetime
    newer_due_at: datetime | None = Field(
        description="Since when a newer forecast is due, within a second; None where this is it."
    )
    p10_at: datetime | None
    p50_at: datetime | None
    p90_at: datetime | None
    passed_at: datetime | None = Field(description="When it was passed; None if it has not been.")
    chance_within_year: float
    stop_p50_at: datetime | None = Field(description="The middle day of the second limit.")
    missing: str = Field(description="What to log before a day can be named; empty if one can.")


class SwapOut(FromAttributes):
    """A bath's place in the queue of swaps.

    `ruler` says what sets the day: limit, stop, life_days or life_washes, none where nothing does.
    """

    tank: str
    urgency: str = Field(
        description="swapping, stop_washing, swap_now, soon (within 2 days), later or unknown."
    )
    ruler: str
    due_at: datetime | None
    early_at: datetime | None
    late_at: datetime | None


class TankOut(FromAttributes):
    """A tank with its bath. `place_in_queue` counts from 1; None for a tank out of use."""

    key: str
    name: str
    is_retired: bool
    started_at: datetime
    capacity_l: float
    min_l: float | None
    solvent: str
    fresh_purity_percent: float = Field(
        description="Of the fresh solvent by mass, however it was entered."
    )
    pair: str | None
    fill: int
    fill_started_at: datetime
    washes_since_fill: int
    life_days: float | None
    life_washes: int | None
    limit: Limit
    stop: Limit
    estimate: Estimate
    forecast: Forecast
    swap: SwapOut
    place_in_queue: int | None
    flags: tuple[str, ...]
    explanation: Explanation | None = Field(
        description="What the last readings suggest; None if they agree with the log."
    )
    needs_reading: bool
    last_entry_kind: str | None
    last_entry_at: datetime | None
    last_reading_at: datetime | None
    last_wash_at: datetime | None
    swap_started_at: datetime | None


class LedgerLine(FromAttributes):
    """What the entries of one kind, for washes of one resin, did to the bath since its fill."""

    kind: str
    resin: str | None
    count: int
    resin_in_g: float
    resin_out_g: float
    correction_g: float = Field(description="Change of the resin by readings.")
    evaporated_g: float = Field(description="Solvent.")
    set_aside: int = Field(description="Readings that were set aside.")


class SetAside(FromAttributes):
    """A reading that was set aside, and why."""

    at: datetime
    mean_before: float
    measured: float | None
    measured_sd: float | None
    notes: tuple[str, ...]


class FanPoint(FromAttributes):
    """The forecast saturation at an instant, mass percent."""

    at: datetime
    p05: float
    p50: float
    p95: float


class WorthOut(FromAttributes):
    """What one reading taken now would be worth: the days from early to late, now and then."""

    method: str
    now_days: float
    then_days: float = Field(
        description="Once it is in: the width that half of its possible values stay within."
    )
    is_worthwhile: bool


class TankDetail(TankOut):
    """A tank with why its number is what it is, and the forecast's course."""

    ledger: list[LedgerLine]
    set_aside: list[SetAside]
    fan: list[FanPoint]
    worth_of_readings: list[WorthOut] = Field(
        description="By instrument, best first; empty if no day is named."
    )


class TankList(BaseModel):
    """The room's tanks in their order."""

    tanks: list[TankOut]


class SwapQueue(BaseModel):
    """The swaps to come, most urgent first."""

    swaps: list[SwapOut]


@router.get("/tanks")
def list_tanks(session: SessionDep, room: MinuteRoomDep, now: NowDep) -> TankList:
    """All tanks, those out of use too."""
    board = _board(session, room, now)
    places = _places(board)
    told = said_of(session, room, board.tanks, now)
    return TankList(
        tanks=[TankOut.model_validate(_values(view, places, told)) for view in board.tanks]
    )


@router.get("/tanks/{tank}")
def read_tank(session: SessionDep, room: MinuteRoomDep, now: NowDep, tank: Key) -> TankDetail:
    """One tank, and why its number is what it is."""
    board = _board(session, room, now)
    view = tank_of(board, tank)
    return TankDetail.model_validate(
        {
            **_values(view, _places(board), said_of(session, room, [view], now)),
            "ledger": queries.ledger(session, room_id(room), tank, view.fill),
            "set_aside": queries.set_aside(session, room_id(room), tank, view.fill),
            "fan": view.fan,
            "worth_of_readings": worth_of(session, room, view),
        }
    )


@router.get("/swaps", tags=["swaps"])
def list_swaps(session: SessionDep, room: MinuteRoomDep, now: NowDep) -> SwapQueue:
    """The queue of swaps."""
    swaps = queries.board(session, room_id(room), now).swaps
    return SwapQueue(swaps=[SwapOut.model_validate(swap) for swap in swaps])


def find_tank(session: Session, room: RoomRow, tank: str, now: datetime) -> TankView:
    """The tank of that key.

    Raises:
        NotFound: there is none.
    """
    return tank_of(_board(session, room, now), tank)


def _board(session: Session, room: RoomRow, now: datetime) -> Board:
    board = queries.board(session, room_id(room), now, with_retired=True)
    return with_doubts(session, room, board)


def tank_of(board: Board, key: str) -> TankView:
    """The tank of that key on the board.

    Raises:
        NotFound: there is none.
    """
    view = board.tank(key)
    if view is None:
        raise NotFound(f"There is no tank “{key}” in this room.")
    return view


def _places(board: Board) -> dict[str, int]:
    retired = {view.key for view in board.tanks if view.is_retired}
    waiting = [swap.tank for swap in board.swaps if swap.tank not in retired]
    return {key: place for place, key in enumerate(waiting, 1)}


def _values(view: TankView, places: dict[str, int], told: Mapping[str, Said]) -> dict[str, object]:
    same = {name: getattr(view, name) for name in TankOut.model_fields if hasattr(view, name)}
    return {
        **same,
        "limit": _limit(view, "limit"),
        "stop": _limit(view, "stop"),
        "estimate": _estimate(view),
        "forecast": _forecast(view),
        "swap": SwapOut.model_validate(view.swap),
        "explanation": told.get(view.key),
        "place_in_queue": places.get(view.key),
    }


def _limit(view: TankView, which: str) -> Limit:
    return Limit(
        mass_percent=getattr(view, f"{which}_percent"),
        basis=getattr(view, f"{which}_basis"),
        entered=getattr(view, f"{which}_entered"),
        is_passed=getattr(view, f"{which}_is_passed"),
    )


def _estimate(view: TankView) -> Estimate:
    mean, p05, p95 = (
        saturation(percent, view.resin_density_g_ml, view.solvent_density_g_ml)
        for percent in (view.mean_percent, view.p05_percent, view.p95_percent)
    )
    return Estimate(
        at=view.estimated_at,
        mean=mean,
        p05=p05,
        p95=p95,
        volume_l=view.volume_l,
        resin_g=view.resin_g,
        is_apparent=view.is_apparent,
    )


def _forecast(view: TankView) -> Forecast:
    return Forecast(
        made_at=view.forecast_at,
        newer_due_at=view.forecast_due_at,
        p10_at=view.limit_p10_at,
        p50_at=view.limit_p50_at,
        p90_at=view.limit_p90_at,
        passed_at=view.limit_passed_at,
        chance_within_year=view.limit_chance,
        stop_p50_at=view.stop_p50_at,
        missing=missing_words(view.lacks),
    )
