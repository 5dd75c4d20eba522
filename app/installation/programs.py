"""Running other programs during the set-up, quietly, with a count of what they have done."""

import os
import subprocess
import sys
from pathlib import Path

from app.installation import turn

LEFT_OUT = ("PYTHONHOME", "PYTHONPATH", "VIRTUAL_ENV", "PIP_REQUIRE_VIRTUALENV", "PIP_TARGET")


class ProgramFailed(Exception):
    """A program ended with an error.

    Attributes:
        program: its name.
        output: everything it wrote.
    """

    def __init__(self, program: str, output: str) -> None:
        super().__init__(program)
        self.program = program
        self.output = output


def run(command: list[str], *, counting: str = "", total: int = 0, may_fail: bool = False) -> None:
    """Run a command to its end and keep its output to itself.

    On a terminal, lines that begin with `counting` are counted aloud, out of `total`.

    Raises:
        ProgramFailed: its exit code is not 0 (unless it `may_fail`).
        OSError: it cannot be started.
    """
    variables = {k: v for k, v in os.environ.items() if k not in LEFT_OUT}
    kept_open = () if os.name == "nt" else tuple(turn.held)
    with subprocess.Popen(
        command,
        env=variables,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        errors="replace",
        pass_fds=kept_open,
    ) as process:
        output = _listen(process, counting, total)
    if process.returncode != 0 and not may_fail:
        raise ProgramFailed(Path(command[0]).name, output)


def _listen(process: "subprocess.Popen[str]", counting: str, total: int) -> str:
    assert process.stdout is not None
    is_shown = bool(counting) and sys.stdout.isatty()
    lines = []
    done = 0
    for line in process.stdout:
        lines.append(line)
        if is_shown and line.startswith(counting):
            done += 1
            print(f"\r  {done} of {total}", end="", flush=True)
    if done:
        print("\r" + " " * 20 + "\r", end="", flush=True)
    return "".join(lines)
