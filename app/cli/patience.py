"""How long the server waits for a client, and how many clients it has at once.

The server's own protocol waits for ever: for the rest of a request that was begun, and for a
client to take its answer. A few hundred such connections, and nobody else comes in. Here each
request has a time for its head and a slowest pace for its body, each answer a time for a pause,
and where all places are taken the client that has kept one idle the longest gives it up.

Nor does the parser stop at a head of any length: `Brevity` does.
"""

import asyncio
import logging
import sys
from typing import Any

from uvicorn.protocols.http.auto import AutoHTTPProtocol

HEAD_WITHIN_S = 20.0
BODY_BEGINS_WITHIN_S = 30.0
SLOWEST_BYTES_PER_S = 4096
"""A body may take `BODY_BEGINS_WITHIN_S` and a second more for each so many bytes that came."""
STALLED_S = 60.0
MOST_CONNECTIONS = 1000
MOST_HEAD_BYTES = 64 * 1024
"""Of a request's line and headers, and of what comes behind them without a byte of a body."""
FILES, FILES_OF_ITS_OWN = 4096, 324
"""Open files to ask the system for; those of the database's connections, logs and photos."""

TELL_AGAIN_S = 60.0

_log = logging.getLogger(__name__)
_TOO_SLOW = "408 Request Timeout", "The request took too long to arrive."
_FULL = "503 Service Unavailable", "Too many connections. Try again in a moment."
_TOO_LONG = "431 Request Header Fields Too Large", "The head of the request is too long."


def _plain(status: str, text: str) -> bytes:
    head = f"HTTP/1.1 {status}\r\nContent-Type: text/plain; charset=utf-8\r\nRetry-After: 5\r\n"
    return f"{head}Content-Length: {len(text)}\r\nConnection: close\r\n\r\n{text}".encode()


def most_connections() -> int:
    """How many clients are served at once: as many as the system has open files for."""
    if sys.platform == "win32":
        return MOST_CONNECTIONS
    import resource  # noqa: PLC0415 - there is none on Windows

    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = FILES if hard == resource.RLIM_INFINITY else min(FILES, hard)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        soft = wanted
    if soft == resource.RLIM_INFINITY:
        return MOST_CONNECTIONS
    return max(50, min(MOST_CONNECTIONS, soft - FILES_OF_ITS_OWN))


class Patience(asyncio.Protocol):
    """What is laid over the server's protocol: the times, and the number of places.

    Attributes:
        places: how many connections there may be.
        told_full_s: when the log last said that all of them are taken.
        since_s: when the request that is on its way began, or the connection fell idle.
    """

    places = MOST_CONNECTIONS
    told_full_s = float("-inf")
    loop: asyncio.AbstractEventLoop
    connections: set[Any]
    transport: asyncio.Transport
    flow: Any
    cycle: Any

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """A client comes in; the head of its request is waited for."""
        self._came_bytes = 0
        self._timer: asyncio.TimerHandle | None = None
        self._stalled: asyncio.TimerHandle | None = None
        self.since_s = self.loop.time()
        self._is_awaited = True
        super().connection_made(transport)
        if len(self.connections) > self.places and not self._take_a_place():
            self._tell_full()
            self.transport.write(_plain(*_FULL))
            self.transport.close()
            return
        self._look_after(HEAD_WITHIN_S)

    def data_received(self, data: bytes) -> None:
        """Something came: what is awaited next follows from it."""
        before = self.cycle
        super().data_received(data)
        cycle = self.cycle
        is_of_next = cycle is before and cycle is not None and cycle.response_complete
        if cycle is not before or (is_of_next and not self._is_awaited):
            self.since_s, self._came_bytes = self.loop.time(), 0
        self._came_bytes += len(data)
        self._is_awaited = cycle is None or cycle.more_body or is_of_next
        if self._is_awaited and self._timer is None:
            self._look_after(HEAD_WITHIN_S)

    def connection_lost(self, exc: Exception | None) -> None:
        """The client is gone."""
        for timer in (self._timer, self._stalled):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def pause_writing(self) -> None:
        """The client takes its answer more slowly than it is made."""
        super().pause_writing()
        self._stalled = self.loop.call_later(STALLED_S, self.transport.abort)

    def resume_writing(self) -> None:
        """The client has caught up."""
        if self._stalled is not None:
            self._stalled.cancel()
            self._stalled = None
        super().resume_writing()

    def is_idle(self) -> bool:
        """Whether nothing is being answered: between two requests, or before one is whole."""
        cycle = self.cycle
        return cycle is None or cycle.response_complete or (cycle.more_body and self._is_awaited)

    def give_up(self, why: tuple[str, str] = _TOO_SLOW) -> None:
        """End the connection; whoever waits for the rest of the request hears that none comes."""
        cycle = self.cycle
        is_answered = cycle is not None and cycle.response_started and not cycle.response_complete
        if self._came_bytes and self._is_awaited and not is_answered:
            if cycle is not None:
                cycle.disconnected = True
            self.transport.write(_plain(*why))
        self.transport.close()

    def _tell_full(self) -> None:
        """Say in the log that clients are turned away, which no request's line does: they are told
        so before there is a request. Once in a while, however many they are."""
        now_s = self.loop.time()
        if now_s >= Patience.told_full_s + TELL_AGAIN_S:
            Patience.told_full_s = now_s
            _log.warning(
                "All %s places for connections are taken. New clients get 503 until one is free.",
                self.places,
            )

    def _look_after(self, delay_s: float) -> None:
        self._timer = self.loop.call_later(delay_s, self._look)

    def _look(self) -> None:
        """Give up what took too long; look again where there is time left."""
        self._timer = None
        if not self._is_awaited or self.transport.is_closing():
            return
        allowed_s = HEAD_WITHIN_S
        if self.cycle is not None and self.cycle.more_body:
            allowed_s = BODY_BEGINS_WITHIN_S + self._came_bytes / SLOWEST_BYTES_PER_S
        left_s = self.since_s + allowed_s - self.loop.time()
        if self.flow.read_paused:  # it is we who are slow
            self._look_after(allowed_s)
        elif left_s > 0:
            self._look_after(left_s)
        else:
            self.give_up()

    def _take_a_place(self) -> bool:
        """Have whoever is idle the longest go; whether there was one."""
        idle = [one for one in self.connections if one is not self and one.is_idle()]
        if not idle:
            return False
        longest = min(idle, key=lambda one: one.since_s)
        longest.give_up()
        self.connections.discard(longest)
        return True


class Brevity(Patience):
    """What is laid over a parser that takes heads and trailers of any length (httptools).

    Attributes:
        scope: of the request whose head is read; that of `cycle` once the head is whole.
        headers: of that request, as they come.
    """

    scope: Any
    url: bytes
    headers: list[tuple[bytes, bytes]]

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        """A client comes in."""
        self._bare_bytes, self._has_body, self._is_too_long = 0, False, False
        super().connection_made(transport)

    def data_received(self, data: bytes) -> None:
        """Something came: what is neither a whole head nor of a body is kept by the parser."""
        before, self._has_body = self.cycle, False
        super().data_received(data)
        is_more = self.cycle is before and not self._has_body
        self._bare_bytes = self._bare_bytes + len(data) if is_more else 0
        if self._bare_bytes > MOST_HEAD_BYTES and not self.transport.is_closing():
            self.give_up(_TOO_LONG)

    def on_header(self, name: bytes, value: bytes) -> None:
        """A header came; one behind the body says nothing here (RFC 9110, section 6.5.1)."""
        if self.cycle is None or self.cycle.scope is not self.scope:
            super().on_header(name, value)  # type: ignore[misc]

    def on_headers_complete(self) -> None:
        """A head is whole.

        Raises:
            ValueError: it is too long; the parser stops.
        """
        taken = len(self.url) + sum(len(name) + len(value) for name, value in self.headers)
        if taken > MOST_HEAD_BYTES:
            self._is_too_long = True
            raise ValueError(_TOO_LONG[1])
        super().on_headers_complete()  # type: ignore[misc]

    def on_body(self, body: bytes) -> None:
        """A piece of a body came."""
        self._has_body = True
        super().on_body(body)  # type: ignore[misc]

    def send_400_response(self, msg: str) -> None:
        """Say what the parser stopped at."""
        if self._is_too_long:
            self.transport.write(_plain(*_TOO_LONG))
            self.transport.close()
        else:
            super().send_400_response(msg)  # type: ignore[misc]


def patient() -> type[asyncio.Protocol]:
    """The protocol to serve with."""
    kept: dict[str, Any] = {"places": most_connections()}
    # The other parser, where this one is not, has a bound of its own and no such calls.
    over = Brevity if hasattr(AutoHTTPProtocol, "on_headers_complete") else Patience
    return type("PatientProtocol", (over, AutoHTTPProtocol), kept)
