"""Live notices."""

import asyncio
import threading

import pytest

from app.web import live
from app.web.live import Notices

CHANGED = "event: room-changed\ndata: now\n\n"
"""An event as the HTML Living Standard (Server-sent events) reads it: named, with data, ended by an
empty line; a line that starts with a colon is a comment."""


def test_a_change_told_from_another_thread_reaches_those_who_listen_to_that_room() -> None:
    async def listen() -> None:
        notices = Notices()
        notices.loop = asyncio.get_running_loop()
        here, there = notices.stream("here"), notices.stream("there")
        assert (await anext(here)).startswith(":")
        assert (await anext(there)).startswith(":")
        thread = threading.Thread(target=notices.announce, args=["here"])
        thread.start()
        assert await asyncio.wait_for(anext(here), 5) == CHANGED
        thread.join()
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(anext(there), 0.05)
        await here.aclose()

    asyncio.run(listen())


def test_changes_that_come_together_are_told_once() -> None:
    async def listen() -> None:
        notices = Notices()
        notices.loop = asyncio.get_running_loop()
        stream = notices.stream("room")
        await anext(stream)
        for _ in range(5):
            notices.announce("room")
        assert await asyncio.wait_for(anext(stream), 5) == CHANGED
        with pytest.raises(TimeoutError):
            await asyncio.wait_for(anext(stream), 0.05)

    asyncio.run(listen())


def test_a_silent_stream_says_now_and_then_that_it_is_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(live, "HEARTBEAT_S", 0.01)

    async def listen() -> None:
        stream = Notices().stream("room")
        await anext(stream)
        assert (await asyncio.wait_for(anext(stream), 5)).startswith(":")
        await stream.aclose()

    asyncio.run(listen())


def test_who_stops_listening_is_forgotten() -> None:
    async def listen() -> None:
        notices = Notices()
        stream = notices.stream("room")
        await anext(stream)
        assert notices._waiting["room"]
        await stream.aclose()
        assert not notices._waiting["room"]

    asyncio.run(listen())


def test_a_change_while_nobody_listens_is_no_trouble() -> None:
    Notices().announce("room")
