"""A server of the program in a process of its own, as a user would start it."""

import os
import socket
import subprocess
import sys
import time
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parent.parent


@dataclass
class RunningServer:
    """A server that answers at `url`, with its data in `data_dir`, writing to `log`."""

    url: str
    data_dir: Path
    log: Path
    process: "subprocess.Popen[bytes]"

    def stop(self, within_s: float = 5) -> None:
        """End the process; kill it where it does not end by itself."""
        self.process.terminate()
        try:
            self.process.wait(within_s)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()


def free_port() -> int:
    """A loopback port that nothing listens on now."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def start_server(
    command: str,
    *options: str,
    data_dir: Path,
    port: int | None = None,
    variables: dict[str, str] | None = None,
    within_s: float = 90,
) -> RunningServer:
    """Start `python -m app COMMAND --port PORT --data DIR OPTIONS` and wait until it serves.

    `variables` are set in its environment on top of the test's own. Fails with the server's own
    words when it ends or does not serve `within_s` seconds.
    """
    port = port or free_port()
    log = data_dir.parent / f"{data_dir.name}-{port}.log"
    arguments = [command, "--port", str(port), "--data", str(data_dir), *options]
    with log.open("wb") as output:
        process = subprocess.Popen(
            [sys.executable, "-m", "app", *arguments],
            cwd=ROOT,
            env={**os.environ, **(variables or {})},
            stdin=subprocess.DEVNULL,
            stdout=output,
            stderr=subprocess.STDOUT,
        )
    server = RunningServer(f"http://127.0.0.1:{port}", data_dir, log, process)
    _wait_until_serving(server, within_s)
    return server


def _wait_until_serving(server: RunningServer, within_s: float) -> None:
    give_up_at_s = time.monotonic() + within_s
    while time.monotonic() < give_up_at_s:
        if server.process.poll() is not None:
            raise AssertionError(f"The server ended:\n{server.log.read_text()}")
        if "Bathkeeper serves at" in server.log.read_text():
            return
        time.sleep(0.05)
    server.stop()
    raise AssertionError(f"The server does not serve:\n{server.log.read_text()}")
