"""What the browser tests drive: Chromium, and a library of its driver, as the system's packages."""

import ctypes
import os
import shutil
import sys
from pathlib import Path

from app.installation.programs import ProgramFailed, run
from app.installation.troubles import explain

NAMES = ("chromium", "chromium-browser")
CHOICE = "BATHKEEPER_CHROMIUM"
DRIVER_LIBRARY = "libatomic.so.1"
"""The driver's own program is linked to it, and a bare Debian lacks it."""
PACKAGES = ("chromium", "libatomic1")
INSTALL_COMMAND = f"apt-get install {' '.join(PACKAGES)}"


def find_chromium() -> str | None:
    """Path of Chromium: the one that BATHKEEPER_CHROMIUM names, or the first on the PATH."""
    if named := os.environ.get(CHOICE):
        return named if Path(named).exists() else None
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def can_be_driven() -> bool:
    """Whether browser tests can run: Chromium is there, and what its driver needs."""
    if find_chromium() is None:
        return False
    if sys.platform != "linux":
        return True
    try:
        ctypes.CDLL(DRIVER_LIBRARY)
    except OSError:
        return False
    return True


def is_provided() -> bool:
    """Whether the tests may start: with what drives a browser, or without where it can't be had.

    Root on Debian gets it installed. Elsewhere the browser tests will be skipped, aloud; but in
    continuous integration (variable CI) tests may not be skipped, so they do not start.
    """
    if not can_be_driven() and CHOICE not in os.environ and _is_root_on_debian():
        _install()
    if can_be_driven():
        return True
    print(
        f"The browser tests need Chromium and {DRIVER_LIBRARY}. To install them: "
        f"{INSTALL_COMMAND}\n(or name a Chromium in the variable {CHOICE}).",
        file=sys.stderr,
    )
    return not os.environ.get("CI")


def _is_root_on_debian() -> bool:
    if sys.platform == "win32" or os.geteuid() != 0 or shutil.which("apt-get") is None:
        return False
    try:
        return "\nID=debian\n" in "\n" + Path("/etc/os-release").read_text("utf-8")
    except OSError:
        return False


def _install() -> None:
    print("Installing Chromium for the browser tests (once) ...", flush=True)
    install = ["apt-get", "install", "-y", "--no-install-recommends", *PACKAGES]
    try:
        run(["apt-get", "update"])
        run(["env", "DEBIAN_FRONTEND=noninteractive", *install])
    except (ProgramFailed, OSError) as error:
        print(explain(error, Path("/usr")), file=sys.stderr)
