"""Live notices: every open page hears within moments that its room has changed."""

import asyncio
from collections import defaultdict
from collections.abc import AsyncIterator

HEARTBEAT_S = 15.0
APART_S = 1.0  # a room in which much is entered tells its pages once a second


class Notices:
    """Hands the word that a room has changed, from any thread, to the pages that listen."""

    def __init__(self) -> None:
        self.loop: asyncio.AbstractEventLoop | None = None
        self._waiting: defaultdict[str, set[asyncio.Event]] = defaultdict(set)
        self._told_s: dict[str, float] = {}
        self._later: set[str] = set()
        self._is_over = False

    def announce(self, room: str) -> None:
        """Wake the listeners of a room; safe to call from any thread."""
        if self.loop is not None and not self.loop.is_closed():
            self.loop.call_soon_threadsafe(self._wake, room)

    def hear(self, room: str | None) -> None:
        """Wake the listeners of a room that another server changed, or of all rooms."""
        for one in [room] if room is not None else list(self._waiting):
            self.announce(one)

    def end(self) -> None:
        """End all streams, since the program ends: it would wait for them. Safe to call from a
        handler of signals."""
        if self.loop is not None and not self.loop.is_closed():
            self.loop.call_soon_threadsafe(self._end)

    def _end(self) -> None:
        self._is_over = True
        for events in self._waiting.values():
            for event in events:
                event.set()

    def _wake(self, room: str) -> None:
        """Tell a change at once, or, where the last was told just now, together with the next."""
        assert self.loop is not None
        if room in self._later:
            return
        wait_s = self._told_s.get(room, -APART_S) + APART_S - self.loop.time()
        if wait_s > 0:
            self._later.add(room)
            self.loop.call_later(wait_s, self._tell, room)
        else:
            self._tell(room)

    def _tell(self, room: str) -> None:
        assert self.loop is not None
        self._later.discard(room)
        self._told_s[room] = self.loop.time()
        for event in self._waiting[room]:
            event.set()

    @property
    def listening(self) -> int:
        """How many pages listen."""
        return sum(len(events) for events in list(self._waiting.values()))

    async def stream(self, room: str) -> AsyncIterator[str]:
        """Server-sent events: `room-changed` after each change, a comment now and then."""
        event = asyncio.Event()
        self._waiting[room].add(event)
        try:
            yield ": listening\n\n"
            if self._is_over:
                event.set()
            while True:
                try:
                    await asyncio.wait_for(event.wait(), HEARTBEAT_S)
                except TimeoutError:
                    yield ": still here\n\n"
                    continue
                event.clear()
                if self._is_over:
                    return
                yield "event: room-changed\ndata: now\n\n"
        finally:
            self._waiting[room].discard(event)
