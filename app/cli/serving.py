"""The command that serves the dashboard, and the serving itself."""

import argparse
import gc
import signal
import socket
import sys
from dataclasses import replace
from ipaddress import ip_address
from types import FrameType
from typing import Any

import uvicorn

from app.cli.alone import alone
from app.cli.database import opened, writable_settings
from app.cli.patience import patient
from app.config import Settings
from app.main import create_app
from app.store.engine import Store


def serve(words: argparse.Namespace) -> int:
    """Serve the rooms of the data folder until interrupted."""
    settings = writable_settings(words.data)
    with alone(settings.url), opened(settings.data_dir, is_new_allowed=True) as store:
        return run(words.listener, words.host, settings, store)


def run(listener: socket.socket, host: str, settings: Settings, store: Store) -> int:
    """Serve on a listening socket until interrupted; the address is printed first."""
    settings = replace(settings, allowed_hosts=(*settings.allowed_hosts, *_name_in(host)))
    gc.disable()
    config = serving_config(create_app(settings, store=store, are_pages_deferred=True))
    config.load()  # what can go wrong goes wrong before the address is printed
    gc.enable()
    server = _Server(config, _addresses(host, listener.getsockname()[1]))
    server.run(sockets=[listener])
    if server.is_interrupted:  # also where whoever started it has it ignore interruptions
        raise KeyboardInterrupt
    return 0


def serving_config(app: Any) -> uvicorn.Config:
    """How an application is served: to clients that are slow, but not for ever."""
    return uvicorn.Config(
        app,
        http=patient(),
        log_level="warning",
        timeout_graceful_shutdown=1,
        server_header=False,
    )


class _Server(uvicorn.Server):
    """Says where it serves as soon as it does: from then on it ends in good order when asked."""

    def __init__(self, config: uvicorn.Config, addresses: list[str]) -> None:
        super().__init__(config)
        self._addresses = addresses
        self.is_interrupted = False

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        self.is_interrupted = self.is_interrupted or sig == signal.SIGINT
        super().handle_exit(sig, frame)

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        await super().startup(sockets)
        if self.started:
            sys.stdout.writelines(f"{line}\n" for line in self._addresses)
            sys.stdout.flush()


def _name_in(host: str) -> list[str]:
    """The name to listen on, which is then one of this machine; addresses are known to be."""
    try:
        ip_address(host)
    except ValueError:
        return [host]
    return []


def _addresses(host: str, port: int) -> list[str]:
    """What to open in a browser, on this machine and on others."""
    if host not in ("0.0.0.0", "::"):  # noqa: S104 - compared, not listened on
        shown = f"[{host}]" if ":" in host else host
        return [f"Bathkeeper serves at http://{shown}:{port}  (stop with Ctrl-C)"]
    lines = [f"Bathkeeper serves at http://127.0.0.1:{port}  (stop with Ctrl-C)"]
    if (own := _own_address()) is not None:
        lines.append(f"In this network: http://{own}:{port}")
    return lines


def _own_address() -> str | None:
    """This machine's address in its network; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737)
        except OSError:
            return None
        address: str = probe.getsockname()[0]
    return None if address.startswith("127.") else address
