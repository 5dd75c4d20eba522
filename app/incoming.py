"""What every request starts from: the database, a session to read with, the present instant."""

from collections.abc import AsyncIterator
from datetime import datetime
from typing import Annotated, cast

from fastapi import Depends, Request
from sqlmodel import Session

from app.store.engine import Store
from app.store.sessions import reading

# What only looks something up is a coroutine: it need not wait for a thread of its own.


async def get_store(request: Request) -> Store:
    """The open database."""
    return cast(Store, request.app.state.store)


StoreDep = Annotated[Store, Depends(get_store)]


async def get_session(store: StoreDep) -> AsyncIterator[Session]:
    """A session for reading; writing goes through the services."""
    with reading(store) as session:
        yield session


# Over before the answer is sent: neither a slow reader nor a stream keeps a connection.
SessionDep = Annotated[Session, Depends(get_session, scope="function")]


async def get_now(request: Request) -> datetime:
    """The present instant by the server's clock."""
    return cast(datetime, request.app.state.clock())


NowDep = Annotated[datetime, Depends(get_now)]
