"""Uploads over a real connection: dropped half way, and larger than what is accepted."""

import os
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import uvicorn
from fastapi.testclient import TestClient

from app.store.engine import Store
from tests.photos import photo
from tests.web.inspections.looking import inspection, said

MB = 2**20
BOUNDARY = "part"


@pytest.fixture
def port(room: TestClient) -> Iterator[int]:
    """The room behind a real server on a free port of this machine."""
    listener = socket.create_server(("127.0.0.1", 0))
    server = uvicorn.Server(uvicorn.Config(room.app, lifespan="off", log_level="error"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]})
    thread.start()
    yield listener.getsockname()[1]
    server.should_exit = True
    thread.join(10)
    listener.close()


def fields() -> bytes:
    lines = [
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'
        for name, value in said("washer", "washer_worn").items()
    ]
    return "".join(lines).encode()


def file(content: bytes) -> bytes:
    head = (
        f'--{BOUNDARY}\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n'
        "Content-Type: image/jpeg\r\n\r\n"
    )
    return head.encode() + content


def head(at: str, port: int, length: str) -> bytes:
    return (
        f"POST {at}/parts/t1-washer-1 HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\n"
        f"Content-Type: multipart/form-data; boundary={BOUNDARY}\r\n{length}\r\n\r\n"
    ).encode()


def temporary_files() -> list[str]:
    """Files of this process that have no name any more: where uploads lie while they come in."""
    found = []
    for one in Path("/proc/self/fd").iterdir():
        try:
            found.append(str(one.readlink()))
        except OSError:
            continue
    return [name for name in found if name.endswith("(deleted)")]


def resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / MB


def photos(room: TestClient) -> list[Path]:
    return list((room.app.state.settings.data_dir / "photos").rglob("*-view.jpg"))  # type: ignore[attr-defined]


def eventually(condition: object, seconds: float = 5.0) -> bool:
    assert callable(condition)
    end = time.monotonic() + seconds
    while not condition() and time.monotonic() < end:
        time.sleep(0.05)
    return bool(condition())


def test_a_connection_dropped_half_way_leaves_nothing(
    room: TestClient, at: str, store: Store, port: int
) -> None:
    before = len(temporary_files())
    body = fields() + file(photo("jpg", 1, 1600, 1200) + bytes(6 * MB)) + b"\r\n--part--\r\n"
    with socket.create_connection(("127.0.0.1", port)) as sender:
        sender.sendall(head(at, port, f"Content-Length: {len(body)}") + body[: len(body) // 2])
        assert eventually(lambda: len(temporary_files()) > before)
    assert eventually(lambda: len(temporary_files()) == before)
    assert photos(room) == []
    assert not inspection(store).look("t1-washer-1").verdict
    assert room.get(at).status_code == 200


def test_200_mb_that_say_no_length_are_refused_in_words_and_never_lie_in_memory(
    room: TestClient, at: str, store: Store, port: int
) -> None:
    before, block = resident_mb(), b"%x\r\n" % MB + b"\xff" * MB + b"\r\n"
    most, answer, lying = before, b"", len(temporary_files())
    with socket.create_connection(("127.0.0.1", port)) as sender:
        start = fields() + file(b"\xff\xd8")
        sender.sendall(head(at, port, "Transfer-Encoding: chunked"))
        sender.sendall(b"%x\r\n" % len(start) + start + b"\r\n")
        sender.settimeout(2)
        try:
            for _ in range(200):
                sender.sendall(block)
                most = max(most, resident_mb())
        except OSError:
            pass  # the server has hung up
        try:
            while b"</html>" not in answer and (more := sender.recv(65536)):
                answer += more
        except OSError:
            pass
    assert b" 413 " in answer[:40]
    assert b"Nothing was stored" in answer
    assert most - before < 60
    assert eventually(lambda: len(temporary_files()) == lying)
    assert photos(room) == []
    assert not inspection(store).look("t1-washer-1").verdict
