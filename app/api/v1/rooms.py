"""Rooms: the list, a new one, one read and changed; the people entered in it."""

from datetime import datetime
from typing import Annotated

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field, WithJsonSchema

from app.api.deps import (
    KEY_PATTERN,
    IfNoneMatch,
    Key,
    RoomDep,
    RoomsDep,
    SeenDep,
    SubmissionDep,
    UnchangedRoomDep,
    address,
    offer,
    room_id,
    tag_of,
)
from app.api.entry_models import text_schema
from app.api.requests import StrictRoute
from app.domain.money import digits_of
from app.incoming import NowDep, SessionDep, StoreDep
from app.services.acts.rooms import UNITS, RoomForm, add_room_once, change_room, zones
from app.services.rooms import find_room
from app.store import queries
from app.store.engine import Store
from app.store.instants import from_us
from app.store.sessions import reading
from app.store.site import archive
from app.store.tables import RoomRow

router = APIRouter(prefix="/v1/rooms", tags=["rooms"], route_class=StrictRoute)

Name = Annotated[
    str, Field(min_length=1, max_length=80), WithJsonSchema(text_schema(80, is_required=True))
]
TimeZone = Annotated[
    str,
    Field(
        max_length=64,
        description="A name such as Europe/Dublin.",
        json_schema_extra=lambda schema: schema.update(enum=sorted(zones())),
    ),
]


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
        description="Of its amounts, as in ISO 4217; empty if none is set. Price lists set it."
    )
    currency_digits: int = Field(
        description="Amounts are in its smallest unit; this many of their digits are decimals."
    )
    created_at: datetime
    is_archived: bool = Field(description="Out of use: read-only and not listed.")
    version: int = Field(description="Rises by one with each change.")


class RoomList(BaseModel):
    """All rooms by name."""

    rooms: list[RoomOut]


class People(BaseModel):
    """Names entered in the room, the latest first."""

    people: list[str]


@router.get("")
def list_rooms(rooms: RoomsDep) -> RoomList:
    """The rooms of this database that are in use; with `archived` those that are not."""
    return RoomList(rooms=[room_out(room, is_archived) for room, is_archived in rooms])


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
def read_room(
    session: SessionDep, response: Response, room: RoomDep, if_none_match: IfNoneMatch = None
) -> RoomOut:
    """A room's settings. Its `ETag` is what a change of them names in `If-Match`."""
    offer(response, tag_of(room), if_none_match)
    return room_out(room, archive(session, room_id(room)).is_archived)


@router.put("/{room}")
def update_room(store: StoreDep, room: Key, body: RoomSettings, seen: SeenDep) -> RoomOut:
    """Change a room's settings, all at once, where nobody changed the room since you read it."""
    change_room(store, room, RoomForm(**body.model_dump()), lambda row: seen.has(tag_of(row)))
    return _stored(store, room)


@router.get("/{room}/people")
def list_people(session: SessionDep, room: UnchangedRoomDep) -> People:
    """Who has entered something, to be offered as `by`."""
    return People(people=queries.people(session, room_id(room)))


def _stored(store: Store, key: str) -> RoomOut:
    with reading(store) as session:
        room = find_room(session, key)
        return room_out(room, archive(session, room_id(room)).is_archived)


def room_out(room: RoomRow, is_archived: bool) -> RoomOut:
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
        is_archived=is_archived,
        version=room.version,
    )
