"""Live notices."""

import asyncio
import threading
from itertools import pairwise

import pytest

from app.web import live
from app.web.live import Notices
from tests.loops import in_loop

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

    in_loop(listen())


def test_streams_end_when_the_program_does() -> None:
    async def listen() -> None:
        notices = Notices()
        notices.loop = asyncio.get_running_loop()
        stream = notices.stream("room")
        await anext(stream)
        notices.end()
        with pytest.raises(StopAsyncIteration):
            await asyncio.wait_for(anext(stream), 5)
        late = notices.stream("room")
        await anext(late)
        with pytest.raises(StopAsyncIteration):
            await asyncio.wait_for(anext(late), 5)
        assert notices.listening == 0

    in_loop(listen())


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

    in_loop(listen())


def test_a_room_that_is_never_quiet_tells_its_pages_now_and_then_and_the_last_change_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(live, "APART_S", 0.1)

    heard_s: list[float] = []

    async def listen(notices: Notices) -> None:
        stream = notices.stream("room")
        while True:
            if await anext(stream) == CHANGED:
                heard_s.append(asyncio.get_running_loop().time())

    async def change_often() -> float:
        notices = Notices()
        loop = notices.loop = asyncio.get_running_loop()
        page = asyncio.create_task(listen(notices))
        last_s = 0.0
        for _ in range(40):
            await asyncio.sleep(0.01)
            notices.announce("room")
            last_s = loop.time()
        await asyncio.sleep(0.3)
        page.cancel()
        return last_s

    last_s = in_loop(change_often())
    apart_s = [after - before for before, after in pairwise(heard_s)]
    assert min(apart_s) > 0.09
    assert heard_s[-1] >= last_s


def test_a_silent_stream_says_now_and_then_that_it_is_there(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(live, "HEARTBEAT_S", 0.01)

    async def listen() -> None:
        stream = Notices().stream("room")
        await anext(stream)
        assert (await asyncio.wait_for(anext(stream), 5)).startswith(":")
        await stream.aclose()

    in_loop(listen())


def test_who_stops_listening_is_forgotten() -> None:
    async def listen() -> None:
        notices = Notices()
        stream = notices.stream("room")
        await anext(stream)
        assert notices._waiting["room"]
        await stream.aclose()
        assert not notices._waiting["room"]

    in_loop(listen())


def test_a_change_while_nobody_listens_is_no_trouble() -> None:
    Notices().announce("room")
