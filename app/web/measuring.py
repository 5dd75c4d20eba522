"""Counting requests and writes as they happen, for whoever watches the program.

Plain numbers here: the library that writes them down is loaded when somebody asks (`metrics`).
"""

import threading
import time
from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass, field

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from app.logged import note_told

BOUNDS_S = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 5.0, 10.0)
UNMATCHED, STATIC = "unmatched", "/static"
METHODS = frozenset({"GET", "POST", "PUT", "PATCH", "DELETE", "OPTIONS"})


@dataclass
class Times:
    """How long answers took to begin: how many within each bound, the last without one."""

    counts: list[int] = field(default_factory=lambda: [0] * (len(BOUNDS_S) + 1))
    sum_s: float = 0.0

    def take(self, seconds: float) -> None:
        """Count one."""
        self.counts[bisect_left(BOUNDS_S, seconds)] += 1
        self.sum_s += seconds


@dataclass
class Measured:
    """What was counted since the start.

    Attributes:
        requests: by method, template of the route, status.
        times: by template of the route.
        writes: commits that changed a room.
    """

    requests: Counter[tuple[str, str, int]] = field(default_factory=Counter)
    times: dict[str, Times] = field(default_factory=dict)
    writes: int = 0
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def request(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count a request that was answered."""
        with self._lock:
            self.requests[method if method in METHODS else "other", route, status] += 1
            self.times.setdefault(route, Times()).take(seconds)

    def write(self, _: str) -> None:
        """Count a write, whatever room it changed."""
        with self._lock:
            self.writes += 1

    def copy(self) -> "Measured":
        """The counts as they are now."""
        with self._lock:
            times = {route: Times(list(one.counts), one.sum_s) for route, one in self.times.items()}
            return Measured(Counter(self.requests), times, self.writes)


class Measure:
    """Counts each request with the template of its route, when its answer begins."""

    def __init__(self, app: ASGIApp, measured: Measured) -> None:
        self.app, self.measured = app, measured

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        start_s, is_counted = time.perf_counter(), False

        def count(status: int) -> None:
            nonlocal is_counted
            is_counted = True
            passed_s = time.perf_counter() - start_s
            route = route_of(scope)
            note_told(scope, "route", route)
            self.measured.request(scope["method"], route, status, passed_s)

        async def send_counted(message: Message) -> None:
            if message["type"] == "http.response.start":
                count(message["status"])
            await send(message)

        try:
            await self.app(scope, receive, send_counted)
        except BaseException:
            if not is_counted:
                count(500)
            raise


def route_of(scope: Scope) -> str:
    """The template of the route that took a request: never an address, which names a room."""
    path = getattr(scope.get("route"), "path", None)
    if path is not None:
        return f"{scope.get('root_path', '')}{path}"
    return STATIC if scope["path"].startswith(f"{STATIC}/") else UNMATCHED
