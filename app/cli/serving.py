"""The command that serves the dashboard, and the serving itself."""

import argparse
import gc
import os
import socket
import sys
from pathlib import Path

import uvicorn

from app.cli.database import opened, writable_settings

APPLICATION = "app.main:create_app"


def serve(words: argparse.Namespace) -> int:
    """Serve the rooms of the data folder until interrupted."""
    data_dir = writable_settings(words.data).data_dir
    return run(words.listener, words.host, data_dir)


def run(listener: socket.socket, host: str, data_dir: Path) -> int:
    """Serve on a listening socket until interrupted; the address is printed first."""
    os.environ["BATHKEEPER_DATA"] = str(data_dir)
    config = uvicorn.Config(
        APPLICATION,
        factory=True,
        log_level="warning",
        timeout_graceful_shutdown=1,
        server_header=False,
    )
    gc.disable()
    with opened(data_dir, is_new_allowed=True):
        pass  # a database of an older version is brought up to date, with its progress shown
    config.load()  # what can go wrong goes wrong before the address is printed
    gc.enable()
    for address in _addresses(host, listener.getsockname()[1]):
        sys.stdout.write(f"{address}\n")
    sys.stdout.flush()
    uvicorn.Server(config).run(sockets=[listener])
    return 0


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
