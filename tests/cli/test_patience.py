"""Clients that stop in the middle: their request ends, and they keep nobody else out.

408 for a request that was not complete in time: RFC 9110, section 15.5.9.
"""

import asyncio
import socket
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import suppress
from typing import Any

import pytest
import uvicorn

from app.cli import patience
from app.cli.serving import serving_config

GET = b"GET / HTTP/1.1\r\nHost: room.test\r\n\r\n"
POST = b"POST / HTTP/1.1\r\nHost: room.test\r\nContent-Length: 100\r\n\r\n"
Connect = Callable[[], socket.socket]


async def application(scope: Any, receive: Any, send: Any) -> None:
    """Read the body, then answer with how long it was."""
    if scope["type"] != "http":
        return
    body, more = b"", True
    while more and scope["path"] != "/unread":
        message = await receive()
        if message["type"] == "http.disconnect":
            return
        body += message.get("body", b"")
        more = message.get("more_body", False)
    if scope["path"] == "/slow":
        await asyncio.sleep(2)
    text = b"x" * 50_000_000 if scope["path"] == "/large" else str(len(body)).encode()
    if scope["path"] == "/headers":
        text = b"".join(value for _, value in scope["headers"])
    headers = [(b"content-length", str(len(text)).encode())]
    await send({"type": "http.response.start", "status": 200, "headers": headers})
    await send({"type": "http.response.body", "body": text[:1000], "more_body": True})
    await send({"type": "http.response.body", "body": text[1000:]})


@pytest.fixture
def short(monkeypatch: pytest.MonkeyPatch) -> None:
    """Times that a test can wait for."""
    monkeypatch.setattr(patience, "HEAD_WITHIN_S", 0.4)
    monkeypatch.setattr(patience, "BODY_BEGINS_WITHIN_S", 0.6)
    monkeypatch.setattr(patience, "STALLED_S", 0.4)


@pytest.fixture
def connect(request: pytest.FixtureRequest) -> Iterator[Connect]:
    """Opens connections to a server with that many places."""
    config = serving_config(application)
    config.lifespan = "off"
    config.load()
    config.http_protocol_class.places = getattr(request, "param", 1000)  # type: ignore[union-attr]
    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, args=([listener],))
    thread.start()
    opened: list[socket.socket] = []

    def connected() -> socket.socket:
        opened.append(socket.create_connection(listener.getsockname(), timeout=10))
        return opened[-1]

    yield connected
    for one in opened:
        one.close()
    server.should_exit = True
    thread.join()
    listener.close()


def answer(client: socket.socket) -> bytes:
    """All that comes until the server hangs up."""
    parts = []
    while part := client.recv(65536):
        parts.append(part)
    return b"".join(parts)


def is_served(client: socket.socket) -> bool:
    """Whether a whole request on it is answered."""
    client.sendall(GET)
    return client.recv(1000).startswith(b"HTTP/1.1 200")


@pytest.mark.usefixtures("short")
@pytest.mark.parametrize("part", [b"G", GET[:-2], POST, POST + b"x" * 99])
def test_half_a_request_ends_with_words(connect: Connect, part: bytes) -> None:
    client = connect()
    client.sendall(part)
    began_s = time.monotonic()
    assert answer(client).startswith(b"HTTP/1.1 408 Request Timeout\r\n")
    assert 0.3 < time.monotonic() - began_s < 5


@pytest.mark.usefixtures("short")
def test_who_says_nothing_is_left_without_an_answer(connect: Connect) -> None:
    assert answer(connect()) == b""


@pytest.mark.usefixtures("short")
@pytest.mark.parametrize("drops", [GET, POST + b"x" * 90], ids=["head", "body"])
def test_one_byte_now_and_then_keeps_no_place(connect: Connect, drops: bytes) -> None:
    client, began_s = connect(), time.monotonic()
    client.sendall(drops[:-20])
    for byte in drops[-20:-1]:
        try:
            client.sendall(bytes([byte]))
        except OSError:
            break
        time.sleep(0.1)
    assert time.monotonic() - began_s < 1.9 or not answer(client)


@pytest.mark.usefixtures("short")
def test_a_second_request_on_a_connection_has_its_own_time(connect: Connect) -> None:
    client = connect()
    for _ in range(3):
        assert is_served(client)
        time.sleep(0.25)
    client.sendall(GET[:10])
    assert b"408" in answer(client)


@pytest.mark.usefixtures("short")
def test_what_takes_long_here_is_not_the_clients_fault(connect: Connect) -> None:
    client = connect()
    client.sendall(GET.replace(b"GET /", b"GET /slow"))
    assert client.recv(1000).startswith(b"HTTP/1.1 200")


@pytest.mark.usefixtures("short")
def test_a_body_that_keeps_its_pace_may_take_its_time(
    connect: Connect, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(patience, "SLOWEST_BYTES_PER_S", 50)
    client = connect()
    client.sendall(POST)
    for _ in range(10):
        client.sendall(b"x" * 10)
        time.sleep(0.15)
    assert client.recv(1000).startswith(b"HTTP/1.1 200")


@pytest.mark.usefixtures("short")
def test_the_rest_of_a_body_that_nobody_reads_is_not_waited_for(connect: Connect) -> None:
    client = connect()
    client.sendall(POST.replace(b"POST /", b"POST /unread"))
    assert answer(client).startswith(b"HTTP/1.1 200")


@pytest.mark.usefixtures("short")
def test_who_does_not_take_the_answer_is_left(connect: Connect) -> None:
    client = connect()
    client.sendall(GET.replace(b"GET /", b"GET /large"))
    time.sleep(1.5)
    taken = 0
    with suppress(ConnectionResetError):
        while part := client.recv(1_000_000):
            taken += len(part)
    assert taken < 50_000_000


@pytest.mark.parametrize("connect", [5], indirect=True)
def test_who_is_idle_the_longest_makes_place(connect: Connect) -> None:
    assert is_served(connect())
    halves = []
    for _ in range(4):
        time.sleep(0.05)
        halves.append(connect())
        halves[-1].sendall(GET[:9])
    assert is_served(connect())  # the first one, done with its request, made place
    assert is_served(connect())
    assert b"408" in answer(halves[0])
    halves[3].sendall(GET[9:])
    assert halves[3].recv(1000).startswith(b"HTTP/1.1 200")


@pytest.mark.parametrize("connect", [3], indirect=True)
def test_where_everyone_is_being_answered_the_next_is_told_to_come_again(
    connect: Connect, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    busy = [connect() for _ in range(3)]
    for one in busy:
        one.sendall(GET.replace(b"GET /", b"GET /slow"))
    time.sleep(0.2)
    caplog.clear()
    monkeypatch.setattr(patience.Patience, "told_full_s", float("-inf"))
    for _ in range(2):
        said = answer(connect())
        assert said.startswith(b"HTTP/1.1 503")
        assert b"Retry-After" in said
    told = [one.getMessage() for one in caplog.records if "places" in one.getMessage()]
    assert told == [
        "All 3 places for connections are taken. New clients get 503 until one is free."
    ]
    assert all(one.recv(1000).startswith(b"HTTP/1.1 200") for one in busy)


HEAD = b"GET / HTTP/1.1\r\nHost: room.test\r\n"
CHUNKED = b"POST / HTTP/1.1\r\nHost: room.test\r\nTransfer-Encoding: chunked\r\n\r\n2\r\nab\r\n"
ENDLESS = {
    "headers": (HEAD, b"X-A: " + b"a" * 1000 + b"\r\n"),
    "small headers": (HEAD, b"a: b\r\n" * 1000),
    "a header": (HEAD + b"X-A: ", b"a" * 4000),
    "an address": (b"GET /", b"a" * 4000),
    "headers behind a body": (CHUNKED + b"0\r\n", b"X-A: " + b"a" * 1000 + b"\r\n"),
    "a header behind a body": (CHUNKED + b"0\r\nX-A: ", b"a" * 4000),
    "what is said of a piece of a body": (CHUNKED + b"2;a=", b"a" * 4000),
}


@pytest.mark.parametrize("name", ENDLESS)
def test_a_head_without_end_is_not_read_on(connect: Connect, name: str) -> None:
    """431: RFC 6585, section 5. None of it is kept, however quickly it comes."""
    first, piece = ENDLESS[name]
    client, sent, heard = connect(), 0, b""
    client.sendall(first)
    with suppress(ConnectionError):
        while sent < 20_000_000:
            client.sendall(piece)
            sent += len(piece)
    assert sent < 20_000_000
    with suppress(ConnectionError):
        heard = answer(client)
    assert not heard or heard.startswith(b"HTTP/1.1 431 ")


@pytest.mark.parametrize("padding", [40_000, 70_000, 200_000])
def test_a_head_is_as_long_as_is_said_however_it_comes(connect: Connect, padding: int) -> None:
    for is_slow in (False, True):
        client = connect()
        whole = HEAD + b"X-A: " + b"a" * padding + b"\r\n\r\n"
        client.sendall(whole[:30_000])
        time.sleep(0.2 if is_slow else 0)
        client.sendall(whole[30_000:])
        said = b"200" if padding < patience.MOST_HEAD_BYTES else b"431"
        assert client.recv(1000).startswith(b"HTTP/1.1 " + said)


def test_what_comes_behind_a_body_is_no_header(connect: Connect) -> None:
    client = connect()
    client.sendall(CHUNKED.replace(b"/", b"/headers", 1) + b"0\r\nHost: elsewhere.test\r\n\r\n")
    said = b""
    while not said.endswith(b"room.testchunked"):
        part = client.recv(1000)
        assert part, said
        said += part
    assert is_served(client)


def test_small_pieces_of_a_long_body_are_taken(connect: Connect) -> None:
    client = connect()
    client.sendall(CHUNKED)
    client.sendall(b"1\r\nx\r\n" * 50_000 + b"0\r\n\r\n")
    client.shutdown(socket.SHUT_WR)
    assert answer(client).endswith(b"50002")


def test_there_are_files_for_all_places() -> None:
    assert 50 <= patience.most_connections() <= patience.MOST_CONNECTIONS
