"""What pages ask for: the database, the room of the address, the present instant, who is there."""

from collections.abc import Iterator
from datetime import datetime
from typing import Annotated, cast
from urllib.parse import quote, unquote

from fastapi import Depends, Request
from sqlmodel import Session
from starlette.responses import Response

from app.services.rooms import find_room
from app.store.engine import Store
from app.store.tables import RoomRow

PERSON_COOKIE = "person"


def get_store(request: Request) -> Store:
    """The open database."""
    return cast(Store, request.app.state.store)


StoreDep = Annotated[Store, Depends(get_store)]


def get_session(store: StoreDep) -> Iterator[Session]:
    """A session for reading; writing goes through the services."""
    with Session(store.reader) as session:
        yield session


SessionDep = Annotated[Session, Depends(get_session)]


def get_now(request: Request) -> datetime:
    """The present instant by the server's clock."""
    return cast(datetime, request.app.state.clock())


NowDep = Annotated[datetime, Depends(get_now)]


def get_room(session: SessionDep, room: str) -> RoomRow:
    """The room named in the address."""
    return find_room(session, room)


RoomDep = Annotated[RoomRow, Depends(get_room)]


def get_person(request: Request) -> str:
    """Who said last, on this tablet, to be the one entering."""
    return unquote(request.cookies.get(PERSON_COOKIE, ""))[:80]


PersonDep = Annotated[str, Depends(get_person)]


def remember_person(response: Response, name: str) -> None:
    """Offer this name next time on this tablet."""
    response.set_cookie(
        PERSON_COOKIE, quote(name), max_age=30 * 86400, httponly=True, samesite="strict"
    )
