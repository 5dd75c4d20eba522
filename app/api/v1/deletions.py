"""Rooms that are deleted for good, and what stays of them."""

from datetime import datetime

from fastapi import APIRouter, Request
from pydantic import BaseModel, ConfigDict, Field

from app.api.deps import Key
from app.api.requests import StrictRoute
from app.api.v1.rooms import Name
from app.incoming import NowDep, SessionDep, StoreDep
from app.services.deleting import delete_room, deleted

router = APIRouter(prefix="/v1", tags=["rooms"], route_class=StrictRoute)


class Deletion(BaseModel):
    """The word that a room is to be deleted."""

    model_config = ConfigDict(extra="forbid")

    room_name: Name = Field(description="The room's name, in full.")
    by: Name = Field(description="Who says so; where people sign in, whoever sends it counts.")


class DeletedRoomOut(BaseModel):
    """What stays of a room that was deleted."""

    model_config = ConfigDict(from_attributes=True)

    key: str
    name: str
    created_at: datetime
    at: datetime = Field(description="When it was deleted.")
    by: str
    entries: int
    code: str = Field(description="Anchor of the end of its log; empty if nothing was logged.")
    photos: int


class DeletedRooms(BaseModel):
    """The rooms that were deleted, the last one first."""

    rooms: list[DeletedRoomOut]


@router.get("/deleted-rooms")
def list_deleted_rooms(session: SessionDep) -> DeletedRooms:
    """The rooms that were deleted: who did it and when, and how their logs ended."""
    return DeletedRooms(rooms=[DeletedRoomOut.model_validate(one) for one in deleted(session)])


@router.post("/rooms/{room}/deletion")
def delete_a_room(
    request: Request, store: StoreDep, now: NowDep, room: Key, body: Deletion
) -> DeletedRoomOut:
    """Delete an archived room for good, with its log and photos. Export its log first."""
    state = request.app.state
    folder, photos = state.settings.data_dir, state.photos
    done = delete_room(store, folder, room, body.room_name, body.by, now, photos)
    return DeletedRoomOut.model_validate(done)
