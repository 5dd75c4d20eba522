"""Writes docs/third-party.md: what the program comes with and runs on, and under which licences.

python -m tests.contracts.notices
"""

import re
import tomllib
from importlib import metadata
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "docs" / "third-party.md"
HEAD = """\
# Work of others

Bathkeeper itself is under the licence in [LICENSE](../LICENSE). This page is made from the lock
file, the licences that the packages state, and the lists `VENDORED.toml` in `static/vendor` and
`app/installation/vendor`; `python -m tests.contracts.notices` writes it anew.

## In this repository

| files | version | licence | text |
| --- | --- | --- | --- |
"""
PACKAGES = """
## Fetched by the set-up, each with its own licence text

| package | version | licence |
| --- | --- | --- |
"""
ADDED = """
## Added on request

Photos of the kind HEIC are read once `python3 -m app heic` has fetched this package:

| package | version | licence |
| --- | --- | --- |
"""
STORED = """
Photos can lie in an object storage once `python3 -m app s3` has fetched these packages:

| package | version | licence |
| --- | --- | --- |
"""
HEIC_LICENCES = (
    "BSD-3-Clause; its file brings libheif and libde265 (LGPL-3.0) and the encoder x265 (GPL-2.0)"
)
"""As the package's own list of licences says; it is not installed where this page is made."""
LICENCES = {
    "apache software license": "Apache-2.0",
    "bsd license": "BSD",
    "mit license": "MIT",
    "gnu lesser general public license v3 (lgplv3)": "LGPL-3.0-only",
    "python software foundation license": "PSF-2.0",
}


def page() -> str:
    """The page as it should be."""
    return (
        HEAD
        + "".join(_vendored())
        + PACKAGES
        + "".join(_packages())
        + ADDED
        + _added()
        + STORED
        + "".join(_stored())
    )


def licence_of(name: str) -> str:
    """The licence a package states of itself, as an SPDX expression where it says one."""
    about = metadata.metadata(name)
    if stated := about.get("License-Expression"):
        return str(stated)
    classifiers = about.get_all("Classifier") or []
    found = [c.rsplit(" :: ", 1)[1] for c in classifiers if c.startswith("License :: OSI")]
    if found:
        return " and ".join(LICENCES.get(text.lower(), text) for text in found)
    return (about.get("License") or "not stated").strip().splitlines()[0][:60]


def locked(lock: str = "requirements.lock") -> list[tuple[str, str, str]]:
    """Name, version and marker of each package of a lock."""
    text = (ROOT / lock).read_text("utf-8")
    return re.findall(r"^([A-Za-z0-9._-]+)==(\S+)(?: ; (.*?))? \\$", text, re.MULTILINE)


def _vendored() -> list[str]:
    return [
        f"| {one['name']} | {one['version']} | {one['licence']} | "
        f"[LICENSE](../{'/'.join(filter(None, (place, one.get('folder'))))}/LICENSE) |\n"
        for place in ("static/vendor", "app/installation/vendor")
        for one in tomllib.loads((ROOT / place / "VENDORED.toml").read_text("utf-8"))["package"]
    ]


def _added() -> str:
    ((name, version, _),) = locked("requirements-heic.lock")
    return f"| {name} | {version} | {HEIC_LICENCES} |\n"


def _stored() -> list[str]:
    run = {name for name, _, _ in locked()}
    return _rows([one for one in locked("requirements-s3.lock") if one[0] not in run])


def _packages() -> list[str]:
    return _rows(locked())


def _rows(found: list[tuple[str, str, str]]) -> list[str]:
    rows = []
    for name, version, marker in found:
        try:
            licence = licence_of(name)
        except metadata.PackageNotFoundError:
            licence = f"see the package (fetched where {marker})"
        rows.append(f"| {name} | {version} | {licence} |\n")
    return rows


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
