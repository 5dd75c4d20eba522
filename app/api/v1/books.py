"""The things a room keeps books of: as they stand, and the entries in the book of each."""

from typing import TYPE_CHECKING, Annotated, Any, Literal

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from app.api.deps import Key, UnchangedRoomDep, room_id
from app.api.entry_models import line_of
from app.api.paging import read_digits
from app.api.requests import StrictRoute
from app.domain.books import THINGS
from app.domain.errors import NotFound
from app.incoming import SessionDep
from app.services.entries import entry_of
from app.store.things import adapter, book, thing, things

router = APIRouter(prefix="/v1/rooms/{room}/books", tags=["books"], route_class=StrictRoute)
if TYPE_CHECKING:  # made at run time, which a type checker cannot follow
    ThingName = str
else:
    ThingName = Annotated[Literal[tuple(THINGS)], Path()]
State = dict[str, Any]


class BookOut(BaseModel):
    """A thing as its entries leave it, and the latest of them, newest first."""

    thing: str
    key: str
    state: State = Field(description="Its fields; units are in the names.")
    entries: list[State] = Field(description="Lines of the room log; withdrawn ones are left out.")


class ThingList(BaseModel):
    """The things of a kind by key."""

    thing: str
    states: dict[str, State]


class ListQuery(BaseModel):
    """Which things to list."""

    model_config = ConfigDict(extra="forbid")

    open_only: bool = Field(default=False, description="Only those that still need attention.")


class BookQuery(BaseModel):
    """How much of a book to read."""

    model_config = ConfigDict(extra="forbid")

    limit: Annotated[int, BeforeValidator(read_digits)] = Field(default=50, ge=1, le=200)


@router.get("/{thing_name}")
def list_things(
    session: SessionDep,
    room: UnchangedRoomDep,
    thing_name: ThingName,
    asked: Annotated[ListQuery, Query()],
) -> ThingList:
    """All things of a kind as they stand."""
    found = things(session, room_id(room), thing_name, only_open=asked.open_only)
    to_json = adapter(thing_name).dump_python
    return ThingList(
        thing=thing_name,
        states={key: to_json(state, mode="json") for key, state in found.items()},
    )


@router.get("/{thing_name}/{key}")
def read_book(
    session: SessionDep,
    room: UnchangedRoomDep,
    thing_name: ThingName,
    key: Key,
    asked: Annotated[BookQuery, Query()],
) -> BookOut:
    """One thing and the latest entries in its book."""
    state = thing(session, room_id(room), thing_name, key)
    if state is None:
        raise NotFound(f"There is no {thing_name} “{key}” in this room.")
    rows = book(session, room_id(room), thing_name, key, asked.limit)
    return BookOut(
        thing=thing_name,
        key=key,
        state=adapter(thing_name).dump_python(state, mode="json"),
        entries=[line_of(entry_of(row)) for row in rows if row.voided_by is None],
    )
