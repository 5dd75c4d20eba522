"""A start against the import of the libraries it stands on, each in a process of its own."""

import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from statistics import median
from urllib.request import urlopen

from tests.running import ROOT

LIBRARIES = "import fastapi, sqlmodel, numpy, uvicorn, jinja2, pint"
ROUNDS, FIRST_STARTS = 7, 3
IDLE_AFTER_S = 5
ROOM_PAGE = "rooms/larkmoor"


def measure_start() -> str:
    """Ratios in one run, in turn, so that a slow moment of the machine falls on all alike."""
    imports_s: list[float] = []
    firsts_s: list[float] = []
    seconds_s: list[float] = []
    idle_mb: list[float] = []
    with tempfile.TemporaryDirectory() as scratch:
        for number in range(ROUNDS):
            imports_s.append(_import_s())
            if number < FIRST_STARTS:
                with _first_byte(Path(scratch) / str(number)) as (seconds, _):
                    firsts_s.append(seconds)
                imports_s.append(_import_s())
            with _first_byte(Path(scratch) / "0") as (seconds, process):
                seconds_s.append(seconds)
                if number == 0:
                    time.sleep(IDLE_AFTER_S)
                    idle_mb += _resident_mb(process)
    base = median(imports_s)
    lines = [
        f"start, median of {ROUNDS} rounds in turn; the libraries alone: {base:.2f} s",
        _line("second start to first byte", median(seconds_s), base),
        _line(f"first demo to first byte ({FIRST_STARTS} times)", median(firsts_s), base),
        *(f"  memory at rest, after the room page: {mb:.0f} MB" for mb in idle_mb),
    ]
    return "\n".join(lines)


def _line(what: str, seconds: float, base_s: float) -> str:
    return f"  {what} {seconds:.2f} s: ratio {seconds / base_s:.2f}"


def _import_s() -> float:
    began = time.perf_counter()
    subprocess.run([sys.executable, "-c", LIBRARIES], check=True)
    return time.perf_counter() - began


@contextmanager
def _first_byte(data_dir: Path) -> Iterator[tuple[float, "subprocess.Popen[str]"]]:
    """Seconds from the command, typed as a user does, to the first byte of the room's page."""
    python = getattr(sys, "_base_executable", sys.executable)
    words = ["-m", "app", "demo", "--port", "0", "--data", str(data_dir)]
    began = time.perf_counter()
    process = subprocess.Popen(
        [python, *words], cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True
    )
    assert process.stdout is not None
    try:
        said = next(line for line in process.stdout if "serves at" in line)
        found = re.search(r"http://\S+", said)
        assert found is not None
        with urlopen(f"{found[0]}/{ROOM_PAGE}", timeout=60) as answer:
            answer.read(1)
            seconds = time.perf_counter() - began
            answer.read()
        yield seconds, process
    finally:
        process.terminate()
        process.wait()
        process.stdout.close()


def _resident_mb(process: "subprocess.Popen[str]") -> list[float]:
    """Resident memory, where the system tells it in a file."""
    try:
        pages = int(Path(f"/proc/{process.pid}/statm").read_text().split()[1])
    except OSError:
        return []
    return [pages * os.sysconf("SC_PAGE_SIZE") / 1e6]
