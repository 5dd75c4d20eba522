"""A step of a swap opened and ticked, against the room page of the same server."""

import http.client
import time
import uuid
from pathlib import Path
from statistics import median
from urllib.parse import urlencode

from app.clock import utc_now
from app.services.changes import Progress
from tests.benchmark.load import get_ms, served
from tests.benchmark.rooms import ROOM, open_room

TANKS, EVENTS = 60, 10_000
ROUNDS, CALLS = 9, 20
SWAP = f"/rooms/{ROOM}/tanks/t01/swap"


def measure(folder: Path, progress: Progress) -> str:
    """The figures in words: rounds in turn, so that a slow moment falls on all alike."""
    place = folder / "room-of-swaps"
    place.mkdir(parents=True, exist_ok=True)
    open_room(place, TANKS, EVENTS, utc_now(), progress).close()
    with served(place) as server:
        post_ms(server, f"{SWAP}/start", by="Wren")
        room, step, tick = [], [], []
        for path in (f"/rooms/{ROOM}", f"{SWAP}?step=prepare"):
            get_ms(server, path)
        for _ in range(ROUNDS):
            room.append(median(get_ms(server, f"/rooms/{ROOM}") for _ in range(CALLS)))
            step.append(median(get_ms(server, f"{SWAP}?step=prepare") for _ in range(CALLS)))
            tick.append(median(_tick_ms(server) for _ in range(CALLS)))
    return (
        f"swap, {TANKS} tanks, {EVENTS:,} past events, median of {ROUNDS} rounds in turn:\n"
        f"  room page {median(room):.2f} ms; a step opened {median(step):.2f} ms, ratio "
        f"{median(b / a for a, b in zip(room, step, strict=True)):.2f}; a step ticked "
        f"{median(tick):.2f} ms, ratio "
        f"{median(b / a for a, b in zip(room, tick, strict=True)):.2f}"
    )


def _tick_ms(server: http.client.HTTPConnection) -> float:
    """Milliseconds until a tick that counts is committed; it is taken back again, untimed."""
    points = {f"confirm_{place}": "on" for place in range(3)}
    taken_ms = post_ms(server, f"{SWAP}/steps/prepare/tick", by="Wren", **points)
    post_ms(server, f"{SWAP}/steps/prepare/undo", by="Wren")
    return taken_ms


def post_ms(server: http.client.HTTPConnection, path: str, **form: str) -> float:
    """Milliseconds until the answer to a form is there."""
    body = urlencode({**form, "submission": uuid.uuid4().hex})
    start = time.perf_counter()
    server.request("POST", path, body, {"Content-Type": "application/x-www-form-urlencoded"})
    answer = server.getresponse()
    content = answer.read()
    if answer.status != 303:
        raise RuntimeError(f"POST {path}: {answer.status} {content[:300]!r}")
    return 1000 * (time.perf_counter() - start)
