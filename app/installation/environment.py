"""The project's own Python environment: where it is and whether it holds what the locks ask for.

Imports nothing that costs time: every start of the program asks here first.
"""

import os
import sys

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
ENVIRONMENT = os.path.join(ROOT, ".venv")
RUN_LOCK = "requirements.lock"
TEST_LOCK = "requirements-test.lock"
HEIC_LOCK = "requirements-heic.lock"
S3_LOCK = "requirements-s3.lock"
EXTRAS = (HEIC_LOCK, S3_LOCK)
"""What may be added to a set-up, and is added again where it is made anew."""
ORACLES = os.path.join(ROOT, ".venv-oracles")
ORACLES_LOCK = "requirements-oracles.lock"
MUTANTS = os.path.join(ROOT, ".venv-mutants")
MUTANTS_LOCK = "requirements-mutants.lock"
STAMPS = "installed"


def python_of(environment: str) -> str:
    """Path of the interpreter of an environment."""
    if os.name == "nt":
        return os.path.join(environment, "Scripts", "python.exe")
    return os.path.join(environment, "bin", "python")


def is_inside() -> bool:
    """Whether this process runs in the project's environment."""
    return os.path.exists(ENVIRONMENT) and os.path.samefile(sys.prefix, ENVIRONMENT)


def is_current(lock: str, environment: str = "") -> bool:
    """Whether an environment is complete and holds exactly what the lock file `lock` names.

    The program's own is meant where none is named.
    The stamp of a finished set-up is the lock itself, below a line with the Python it was made
    for. Inside the environment that line counts too: an upgrade of the system may have put
    another Python behind it, which sees none of its packages.
    """
    environment = environment or ENVIRONMENT
    if not os.path.exists(python_of(environment)):
        return False
    made_for, _, installed = _content(os.path.join(environment, STAMPS, lock)).partition(b"\n")
    if is_inside() and made_for != _this_python():
        return False
    return bool(installed) and installed == _content(os.path.join(ROOT, lock))


def write_stamp(environment: str, lock: str) -> None:
    """Note that an environment holds what a lock file names."""
    folder = os.path.join(environment, STAMPS)
    os.makedirs(folder, exist_ok=True)
    unfinished = os.path.join(folder, lock + ".unfinished")
    with open(unfinished, "wb") as stamp:
        stamp.write(_this_python() + b"\n" + _content(os.path.join(ROOT, lock)))
    os.replace(unfinished, os.path.join(folder, lock))


def run_python(arguments: list[str], environment: str = "") -> int:
    """Go on as the interpreter of an environment, the program's own if none is named.

    Returns the exit code on Windows; elsewhere the process is replaced.
    """
    command = [python_of(environment or ENVIRONMENT), *arguments]
    # With this variable set, every start would compile the whole program again (about a second).
    variables = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    sys.stdout.flush()
    sys.stderr.flush()
    if os.name != "nt":
        os.execve(command[0], command, variables)
    import subprocess  # on Windows a replaced process would let go of the terminal

    return subprocess.call(command, env=variables)


def _this_python() -> bytes:
    return b"# Python %d.%d" % sys.version_info[:2]


def _content(path: str) -> bytes:
    try:
        with open(path, "rb") as file:
            return file.read()
    except OSError:
        return b""
