"""Rooms: the list, a new one, one read and changed; the people entered in it."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

from app.api.deps import (
    KEY_PATTERN,
    Key,
    NowDep,
    RoomsDep,
    SessionDep,
    StoreDep,
    SubmissionDep,
    UnchangedRoomDep,
    address,
    room_id,
)
from app.api.requests import StrictRoute
from app.domain.money import digits_of
from app.services.acts.rooms import UNITS, RoomForm, add_room_once, change_room
from app.services.rooms import find_room
from app.store import queries
from app.store.engine import Store
from app.store.instants import from_us
from app.store.sessions import reading
from app.store.tables import RoomRow

router = APIRouter(prefix="/v1/rooms", tags=["rooms"], route_class=StrictRoute)

Name = Annotated[str, Field(min_length=1, max_length=80)]
TimeZone = Annotated[str, Field(max_length=64, description="A name such as Europe/Dublin.")]


def _unit(name: str) -> WithJsonSchema:
    """One of the units of a quantity; the service says which do not fit."""
    return WithJsonSchema({"type": "string", "enum": list(UNITS[name])})


VolumeUnit = Annotated[str, _unit("volume_unit")]
TemperatureUnit = Annotated[str, _unit("temperature_unit")]
MassUnit = Annotated[str, _unit("mass_unit")]
AreaUnit = Annotated[str, _unit("area_unit")]


class RoomSettings(BaseModel):
    """A room's name, its time zone, and the units its pages show. The API speaks SI throughout."""

    model_config = ConfigDict(extra="forbid", strict=True)

    name: Name
    time_zone: TimeZone
    volume_unit: VolumeUnit
    temperature_unit: TemperatureUnit
    mass_unit: MassUnit
    area_unit: AreaUnit


class RoomIn(RoomSettings):
    """A new room."""

    time_zone: TimeZone = "UTC"
    volume_unit: VolumeUnit = "l"
    temperature_unit: TemperatureUnit = "c"
    mass_unit: MassUnit = "g"
    area_unit: AreaUnit = "cm2"
    key: str | None = Field(
        default=None, pattern=KEY_PATTERN, description="Its key; made from the name if left out."
    )


class RoomOut(BaseModel):
    """A room."""

    key: str
    name: str
    time_zone: str
    volume_unit: str
    temperature_unit: str
    mass_unit: str
    area_unit: str
    currency: str = Field(
        description="Of its amounts, after ISO 4217; empty where none is set. Price lists set it."
    )
    currency_digits: int = Field(
        description="Amounts are in its smallest unit; so many of their digits are decimals."
    )
    created_at: datetime
    version: int = Field(description="Rises by one with each change.")


class RoomList(BaseModel):
    """All rooms by name."""

    rooms: list[RoomOut]


class People(BaseModel):
    """Names entered in the room, the latest first."""

    people: list[str]


@router.get("")
def list_rooms(rooms: RoomsDep) -> RoomList:
    """All rooms of this database."""
    return RoomList(rooms=[room_out(room) for room in rooms])


@router.post("", status_code=201)
def create_room(
    request: Request, response: Response, store: StoreDep, now: NowDep,
    submission: SubmissionDep, body: RoomIn,
) -> RoomOut:  # fmt: skip
    """Set up an empty room."""
    form = RoomForm(**{**body.model_dump(), "key": body.key or ""})
    added = add_room_once(store, form, now, submission and f":rooms/{submission}")
    if added.is_replayed:
        response.headers["Idempotent-Replayed"] = "true"
    response.headers["Location"] = address(request, added.key)
    return _stored(store, added.key)


@router.get("/{room}")
def read_room(room: UnchangedRoomDep) -> RoomOut:
    """A room's settings."""
    return room_out(room)


@router.put("/{room}")
def update_room(store: StoreDep, room: Key, body: RoomSettings) -> RoomOut:
    """Change a room's settings, all at once."""
    change_room(store, room, RoomForm(**body.model_dump()))
    return _stored(store, room)


@router.get("/{room}/people")
def list_people(session: SessionDep, room: UnchangedRoomDep) -> People:
    """Who has entered something, to be offered as `by`."""
    return People(people=queries.people(session, room_id(room)))


def _stored(store: Store, key: str) -> RoomOut:
    with reading(store) as session:
        return room_out(find_room(session, key))


def room_out(room: RoomRow) -> RoomOut:
    """A room as the API shows it."""
    return RoomOut(
        key=room.key,
        name=room.name,
        time_zone=room.time_zone,
        volume_unit=room.volume_unit,
        temperature_unit=room.temperature_unit,
        mass_unit=room.mass_unit,
        area_unit=room.area_unit,
        currency=room.currency,
        currency_digits=digits_of(room.currency),
        created_at=from_us(room.created_at_us),
        version=room.version,
    )
