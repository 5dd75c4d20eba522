"""Watching the connections of a database: how many a request holds, and while whom it waits for."""

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from fastapi import FastAPI
from sqlalchemy import event
from starlette.types import ASGIApp, Message, Receive, Scope, Send

Held = Counter[object]

_request: ContextVar[object | None] = ContextVar("request", default=None)


class _HandsFree:
    """Fails a request that holds a connection while it waits for its client, to send or to take."""

    def __init__(self, app: ASGIApp, held: Held) -> None:
        self.app = app
        self.held = held

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        me = object()

        async def receive_free() -> Message:
            assert not self.held[me], "It holds a connection while it waits for its client's words."
            return await receive()

        async def send_free(message: Message) -> None:
            assert not self.held[me], "It holds a connection while its client takes the answer."
            await send(message)

        token = _request.set(me)
        try:
            await self.app(scope, receive_free, send_free)
        finally:
            _request.reset(token)


@contextmanager
def watched(app: FastAPI) -> Iterator[FastAPI]:
    """The application; a request fails that takes a second connection while it holds one."""
    held: Held = Counter()

    def taken(_: Any, record: Any, __: Any) -> None:
        if (me := _request.get()) is None:
            return
        record.info["holder"] = me
        held[me] += 1
        assert held[me] == 1, "It takes a second connection while it holds one."

    def given_back(_: Any, record: Any) -> None:
        if (holder := record.info.pop("holder", None)) is not None:
            held[holder] -= 1

    store = app.state.store
    pools = {id(engine.pool): engine.pool for engine in (store.writer, store.reader)}.values()
    for pool in pools:
        event.listen(pool, "checkout", taken)
        event.listen(pool, "checkin", given_back)
    app.add_middleware(_HandsFree, held=held)
    yield app
    assert not +held, f"{held.total()} connections were not given back."
