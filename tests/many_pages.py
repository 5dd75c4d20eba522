"""Many live pages at once, each a stream that stays open, listened to by one thread."""

import http.client
import selectors
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from urllib.parse import urlsplit

CHANGED = b"event: room-changed"


class LivePages:
    """Open streams of one room: how many are still open, how many notices came."""

    def __init__(self, url: str, room: str, count: int) -> None:
        self.notices = 0
        self.ended = 0
        self._stop = threading.Event()
        self._selector = selectors.DefaultSelector()
        for _ in range(count):
            stream = _opened(url, f"/rooms/{room}/live")
            self._selector.register(stream, selectors.EVENT_READ)
        self._thread = threading.Thread(target=self._listen, daemon=True)
        self._thread.start()

    def _listen(self) -> None:
        while not self._stop.is_set():
            for key, _ in self._selector.select(0.1):
                stream = key.fileobj
                assert isinstance(stream, socket.socket)
                try:
                    said = stream.recv(65536)
                except OSError:
                    said = b""
                self.notices += said.count(CHANGED)
                if not said:
                    self.ended += 1
                    self._selector.unregister(stream)
                    stream.close()

    def close(self) -> None:
        """Leave all pages."""
        self._stop.set()
        self._thread.join()
        for key in list(self._selector.get_map().values()):
            assert isinstance(key.fileobj, socket.socket)
            key.fileobj.close()
        self._selector.close()


def _opened(url: str, path: str) -> socket.socket:
    host = urlsplit(url).netloc
    stream = socket.create_connection(tuple(host.split(":")), 60)  # type: ignore[arg-type]
    stream.sendall(f"GET {path} HTTP/1.1\r\nHost: {host}\r\n\r\n".encode())
    head = b""
    while b"\r\n\r\n" not in head:
        said = stream.recv(4096)
        if not said:
            raise http.client.RemoteDisconnected(path)
        head += said
    if b" 200 " not in head.split(b"\r\n", 1)[0]:
        raise http.client.HTTPException(head.decode("latin-1"))
    return stream


@contextmanager
def live_pages(url: str, room: str, count: int) -> Iterator[LivePages]:
    """That many open pages of a room.

    Raises:
        http.client.HTTPException, OSError: one of them does not open.
    """
    pages = LivePages(url, room, count)
    try:
        yield pages
    finally:
        pages.close()
