"""Servers in processes of their own, and requests to them timed from outside."""

import http.client
import json
import socket
import subprocess
import sys
import time
import uuid
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from typing import Any

START_WITHIN_S, ANSWER_WITHIN_S = 600.0, 600.0


@contextmanager
def served(data_dir: Path) -> Iterator[http.client.HTTPConnection]:
    """A connection to a server on the data in a folder."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    command = [sys.executable, "-m", "tests.benchmark.server", "--data", str(data_dir)]
    process = subprocess.Popen([*command, "--port", str(port)])
    try:
        yield _connected(port, process)
    finally:
        process.terminate()
        process.wait()


def _connected(port: int, process: "subprocess.Popen[bytes]") -> http.client.HTTPConnection:
    give_up_at = time.monotonic() + START_WITHIN_S
    while True:
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=ANSWER_WITHIN_S)
        try:
            connection.connect()
        except OSError:
            if time.monotonic() > give_up_at or process.poll() is not None:
                raise
            time.sleep(0.05)
        else:
            return connection


def get_ms(connection: http.client.HTTPConnection, path: str) -> float:
    """Milliseconds until the whole answer to a GET is there."""
    return _timed_ms(connection, "GET", path, None, {})


def post_wash_ms(connection: http.client.HTTPConnection, room: str, tank: str) -> float:
    """Milliseconds until a logged wash is committed with its estimate and forecast."""
    wash = {"kind": "wash", "tank": tank, "resin": "slate", "area_cm2": 900.0}
    return post_ms(connection, f"/api/v1/rooms/{room}/entries", wash)


def post_ms(connection: http.client.HTTPConnection, path: str, values: Mapping[str, Any]) -> float:
    """Milliseconds until the answer to values sent as JSON is there."""
    headers = {"Content-Type": "application/json", "Idempotency-Key": str(uuid.uuid4())}
    return _timed_ms(connection, "POST", path, json.dumps(values), headers)


def _timed_ms(
    connection: http.client.HTTPConnection,
    method: str,
    path: str,
    body: str | None,
    headers: dict[str, str],
) -> float:
    start = time.perf_counter()
    connection.request(method, path, body, headers)
    answer = connection.getresponse()
    content = answer.read()
    elapsed_ms = 1000 * (time.perf_counter() - start)
    if answer.status >= 300:
        raise RuntimeError(f"{method} {path}: {answer.status} {content[:300]!r}")
    return elapsed_ms


def median_ms(times_ms: list[float]) -> float:
    """The median, for reading aloud."""
    return median(times_ms)
