"""The browser that the browser tests drive: Chromium, as the system's own package."""

import os
import shutil
import sys
from pathlib import Path

from app.installation.programs import ProgramFailed, run
from app.installation.troubles import explain

NAMES = ("chromium", "chromium-browser")
CHOICE = "BATHKEEPER_CHROMIUM"
INSTALL_COMMAND = "apt-get install chromium"


def find_chromium() -> str | None:
    """Path of Chromium: the one that BATHKEEPER_CHROMIUM names, or the first on the PATH."""
    if named := os.environ.get(CHOICE):
        return named if Path(named).exists() else None
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def is_provided() -> bool:
    """Whether the tests may start: with Chromium installed, or without it where none can be had.

    Root on Debian gets it installed. Elsewhere the browser tests will be skipped, aloud; but in
    continuous integration (variable CI) tests may not be skipped, so they do not start.
    """
    if find_chromium() is None and CHOICE not in os.environ and _is_root_on_debian():
        _install()
    if find_chromium() is not None:
        return True
    print(
        f"No Chromium found: the browser tests need it. To install it: {INSTALL_COMMAND}\n"
        f"(or name one in the variable {CHOICE}).",
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
    install = ["apt-get", "install", "-y", "--no-install-recommends", "chromium"]
    try:
        run(["apt-get", "update"])
        run(["env", "DEBIAN_FRONTEND=noninteractive", *install])
    except (ProgramFailed, OSError) as error:
        print(explain(error, Path("/usr")), file=sys.stderr)
