"""A line to a server that can be cut, as a wireless network between a tablet and its server is."""

import socket
import threading
from contextlib import suppress
from typing import Literal

State = Literal["whole", "cut", "mute", "one-way"]


class Line:
    """Passes connections on to a server's port, at `port` of its own.

    `whole` passes everything; `cut` closes every connection at once; `mute` takes what is sent and
    passes nothing on; `one-way` passes requests on and keeps the answers to itself.
    """

    def __init__(self, server_port: int) -> None:
        self.server_port = server_port
        self.state: State = "whole"
        self._pairs: list[tuple[socket.socket, socket.socket]] = []
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port: int = self._listener.getsockname()[1]
        threading.Thread(target=self._accept, daemon=True).start()

    def becomes(self, state: State) -> None:
        """Change what the line does; connections that lost something end when it is whole again."""
        before, self.state = self.state, state
        if state == "cut" or before != "whole":
            for pair in self._pairs:
                _end(*pair)
            self._pairs.clear()

    def close(self) -> None:
        """End everything."""
        self.becomes("cut")
        self._listener.close()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            try:
                far = socket.create_connection(("127.0.0.1", self.server_port))
            except OSError:
                near.close()
                continue
            if self.state == "cut":
                _end(near, far)
                continue
            self._pairs.append((near, far))
            for one, other, blocked in ((near, far, ("mute",)), (far, near, ("mute", "one-way"))):
                pump = threading.Thread(target=self._pump, args=(one, other, blocked), daemon=True)
                pump.start()

    def _pump(self, one: socket.socket, other: socket.socket, blocked: tuple[str, ...]) -> None:
        with suppress(OSError):
            while data := one.recv(65536):
                if self.state not in blocked:
                    other.sendall(data)
        if self.state not in blocked:
            _end(one, other)


def _end(*ends: socket.socket) -> None:
    for end in ends:
        with suppress(OSError):
            end.shutdown(socket.SHUT_RDWR)
        end.close()
