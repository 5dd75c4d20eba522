"""Live notices end when whoever listens is signed in no more."""

import asyncio
from typing import Any

import pytest
from starlette.responses import StreamingResponse
from starlette.types import Message

from app.services.people.accounts import sign_out_everywhere
from app.services.people.throttling import Client
from app.web.people import gate
from tests.loops import in_loop
from tests.web.people.conftest import Site


def _scope(cookie: str) -> dict[str, Any]:
    return {
        "type": "http", "method": "GET", "path": "/rooms/test-room/live", "query_string": b"",
        "headers": [(b"host", b"room.test"), (b"cookie", cookie.encode())], "scheme": "http",
        "server": ("room.test", 80), "client": ("192.0.2.7", 1), "http_version": "1.1",
        "asgi": {"version": "3.0", "spec_version": "2.3"},
    }  # fmt: skip


async def _listen(site: Site, cookie: str, after: int) -> list[bytes]:
    """What is heard of a stream that never ends; after some words Kim is signed out."""
    heard: list[bytes] = []

    async def words() -> Any:
        while True:
            await asyncio.sleep(0.01)
            yield b": still here\n\n"

    async def receive() -> Message:
        await asyncio.sleep(60)
        return {"type": "http.disconnect"}

    async def send(message: Message) -> None:
        if message["type"] == "http.response.body":
            heard.append(message["body"])
            if len(heard) == after:
                number, client = site.numbers["Kim"], Client("192.0.2.7")
                await asyncio.to_thread(
                    sign_out_everywhere, site.store, number, "Wren", client, site.clock()
                )

    stream = StreamingResponse(words(), media_type="text/event-stream")
    guarded = gate.Gate(stream, site.store, site.app.state.sign_in, site.clock)
    await asyncio.wait_for(guarded(_scope(cookie), receive, send), 20)
    return heard


def test_a_stream_ends_soon_after_its_session(site: Site, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(gate, "LOOK_AGAIN_S", 0.0)
    token = site.browser("Kim").cookies["sign_in"]
    heard = in_loop(_listen(site, f"sign_in={token}", after=3))
    assert heard[:3] == [b": still here\n\n"] * 3
    assert heard[-1] == b""
    assert len(heard) < 10


def test_a_stream_is_not_begun_for_nobody(site: Site) -> None:
    assert site.browser().get("/rooms/test-room/live").status_code == 401
