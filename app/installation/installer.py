"""The installer that fetches the packages: pip, kept here as the file that its authors published.

Debian's `python3` comes without pip, without ensurepip and without certificates of authorities,
so that the standard library alone can fetch nothing that it could trust. pip brings its own, and
reads the user's settings for it (index, proxy, certificates) itself.
"""

import hashlib
import os
import sys
from importlib.util import find_spec
from pathlib import Path

from app.installation.programs import run
from app.installation.troubles import SetUpError

WHEEL = Path(__file__).parent / "vendor" / "pip-26.3-py3-none-any.whl"
WHEEL_SHA256 = "f3b60b20ffaadd4415ed7957212a38ac63fa4c5fa375bd0f4a797777940fad13"
QUIET = ("--disable-pip-version-check", "--progress-bar=off", "--no-input", "--retries=2")


def base_python() -> str:
    """The interpreter outside any environment."""
    return getattr(sys, "_base_executable", "") or sys.executable


def make_empty(folder: Path, prompt: str) -> None:
    """Make an environment without packages in `folder`.

    Raises:
        SetUpError: this Python cannot make one.
    """
    if find_spec("venv") is not None:
        run([base_python(), "-m", "venv", "--without-pip", "--prompt", prompt, str(folder)])
    elif os.name == "nt":
        raise SetUpError("This Python lacks its module venv. Install a complete one, then start.")
    else:
        _make_by_hand(folder, prompt)


def _make_by_hand(folder: Path, prompt: str) -> None:
    """The layout of an environment, as the documentation of the module `site` describes it."""
    python = Path(base_python())
    version = "{}.{}.{}".format(*sys.version_info[:3])
    (folder / "lib" / f"python{sys.version_info[0]}.{sys.version_info[1]}" / "site-packages").mkdir(
        parents=True
    )
    (folder / "lib64").symlink_to("lib")  # where some systems look for compiled packages
    (folder / "bin").mkdir()
    for name in ("python", "python3", f"python3.{sys.version_info[1]}"):
        (folder / "bin" / name).symlink_to(python)
    (folder / "pyvenv.cfg").write_text(
        f"home = {python.parent}\ninclude-system-site-packages = false\n"
        f"version = {version}\nprompt = {prompt!r}\n",
        encoding="utf-8",
    )


def install(python: str, choice: list[str], total: int) -> None:
    """Install packages into the environment of an interpreter; on a terminal they are counted.

    Raises:
        SetUpError: the installer is not the one this version was checked with.
        ProgramFailed: a package cannot be had, or is not the one that was named.
    """
    try:
        found = hashlib.sha256(WHEEL.read_bytes()).hexdigest()
    except FileNotFoundError:
        found = ""
    if found != WHEEL_SHA256:
        raise SetUpError(
            f"The file {WHEEL} is damaged or missing. Copy the project again, then start again."
        )
    command = [python, str(WHEEL / "pip"), "install", "--no-compile", "--no-user", *QUIET]
    run([*command, *choice], counting="Collecting ", total=total)
