"""Making the project's environment: once, and again when a lock file changes.

The new environment is made beside the old one and takes its place only when it is complete, so
a set-up that was cut off, by whatever, leaves nothing that a start would trust.
"""

import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from app.installation import environment, installer, turn
from app.installation.programs import ProgramFailed, run
from app.installation.troubles import SetUpError, explain

ROOT = Path(environment.ROOT)
CURRENT = Path(environment.ENVIRONMENT)
NEW = ROOT / ".venv-new"
OLD = ROOT / ".venv-old"
PROMPT = "bathkeeper"

__all__ = ["SetUpError", "add_extra", "make_beside", "make_current"]


def make_current(with_tests: bool) -> None:
    """Bring the environment to what the lock files name; waits for another start doing so.

    Raises:
        SetUpError: with a message that says what to do.
    """
    with _troubles_explained(), turn.wait_for_turn(ROOT / ".venv.lock"):
        if environment.is_current(_lock(with_tests)):
            return
        started_s = time.perf_counter()
        if with_tests and environment.is_current(environment.RUN_LOCK):
            _add_test_packages()
        else:
            _make_anew(with_tests)
        print(f"Ready after {time.perf_counter() - started_s:.0f} s.", flush=True)


def add_extra(lock: str) -> None:
    """Add what a lock of `EXTRAS` names to a current environment; a later one has it too.

    Raises:
        SetUpError: with a message that says what to do.
    """
    with _troubles_explained(), turn.wait_for_turn(ROOT / ".venv.lock"):
        _fetch_packages(CURRENT, lock)
        environment.write_stamp(str(CURRENT), lock)


def make_beside(folder: str, lock: str, what: str) -> None:
    """Make an environment beside the program's own, of what a lock file names.

    Raises:
        SetUpError: with a message that says what to do.
    """
    target = Path(folder)
    with _troubles_explained(), turn.wait_for_turn(ROOT / f"{target.name}.lock"):
        if environment.is_current(lock, folder):
            return
        print(f"Setting up {what} in {target} (once).", flush=True)
        shutil.rmtree(target, ignore_errors=True)
        _make_empty(target)
        _fetch_packages(target, lock)
        environment.write_stamp(folder, lock)


@contextmanager
def _troubles_explained() -> Iterator[None]:
    try:
        yield
    except (ProgramFailed, OSError) as error:
        raise SetUpError(explain(error, ROOT)) from error


def _lock(with_tests: bool) -> str:
    return environment.TEST_LOCK if with_tests else environment.RUN_LOCK


def _make_anew(with_tests: bool) -> None:
    print(f"Setting up Bathkeeper in {CURRENT} (first start only).", flush=True)
    stamps = CURRENT / environment.STAMPS
    added = [lock for lock in environment.EXTRAS if (stamps / lock).exists()]
    for leftover in (NEW, OLD):
        shutil.rmtree(leftover, ignore_errors=True)
    _make_empty(NEW)
    _fetch_packages(NEW, _lock(with_tests))
    for lock in added:
        _fetch_packages(NEW, lock)
        environment.write_stamp(str(NEW), lock)
    if with_tests:
        environment.write_stamp(str(NEW), environment.TEST_LOCK)
    else:  # the test packages would take longer to compile than the tests that use them
        _compile(NEW)
    environment.write_stamp(str(NEW), environment.RUN_LOCK)
    _put_in_place()


def _make_empty(target: Path) -> None:
    """An environment without packages in a folder."""
    if uv := shutil.which("uv"):
        python = installer.base_python()
        run([uv, "venv", "--no-project", "--prompt", PROMPT, "--python", python, str(target)])
    else:
        installer.make_empty(target, PROMPT)


def _fetch_packages(target: Path, lock: str) -> None:
    """Install what a lock file names, each file checked against its hash."""
    count = (ROOT / lock).read_text("utf-8").count("==")
    print(f"Fetching up to {count} packages ...", flush=True)
    python = environment.python_of(str(target))
    choice = ["--require-hashes", "--no-deps", "-r", str(ROOT / lock)]
    if uv := shutil.which("uv"):
        run([uv, "pip", "install", "--python", python, *choice])
    else:
        installer.install(python, choice, total=count)


def _compile(target: Path) -> None:
    """Compile the packages and the program now: each start saves a second."""
    print("Compiling ...", flush=True)
    folders = [str(target / ("Lib" if os.name == "nt" else "lib")), str(ROOT / "app")]
    python = environment.python_of(str(target))
    # Exit code 1 means that some package carries a file for another Python: no harm.
    run([python, "-m", "compileall", "-qq", "-j", "0", *folders], may_fail=True)


def _put_in_place() -> None:
    _correct_paths()
    if CURRENT.exists() or CURRENT.is_symlink():
        CURRENT.rename(OLD)
    NEW.rename(CURRENT)
    shutil.rmtree(OLD, ignore_errors=True)


def _correct_paths() -> None:
    """Scripts of an environment name its folder; let them name the final one."""
    scripts = Path(environment.python_of(str(NEW))).parent.iterdir()
    for path in (NEW / "pyvenv.cfg", *scripts):
        if path.is_symlink() or not path.is_file():
            continue
        content = path.read_bytes()
        if str(NEW).encode() in content and b"\0" not in content:
            path.write_bytes(content.replace(str(NEW).encode(), str(CURRENT).encode()))


def _add_test_packages() -> None:
    """Add the test packages; a cut-off leaves no stamp, so that the next start begins anew."""
    print("Adding what the tests need (once).", flush=True)
    for lock in (environment.RUN_LOCK, environment.TEST_LOCK):
        (CURRENT / environment.STAMPS / lock).unlink(missing_ok=True)
    try:
        _fetch_packages(CURRENT, environment.TEST_LOCK)
    except ProgramFailed:
        environment.write_stamp(str(CURRENT), environment.RUN_LOCK)
        raise
    environment.write_stamp(str(CURRENT), environment.RUN_LOCK)
    environment.write_stamp(str(CURRENT), environment.TEST_LOCK)
