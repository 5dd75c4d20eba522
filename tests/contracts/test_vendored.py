"""The files of others are kept as they were published, and pages load nothing else of others."""

import base64
import hashlib
import shutil
import tomllib
from pathlib import Path
from typing import Any

import pytest

from app.web.assets import SCRIPTS, VENDORED_SCRIPTS, Assets

ROOT = Path(__file__).parent.parent.parent
VENDOR = ROOT / "static" / "vendor"
LIST = VENDOR / "VENDORED.toml"
PACKAGES: list[dict[str, Any]] = tomllib.loads(LIST.read_text("utf-8"))["package"]
FILES = [(package["folder"], name) for package in PACKAGES for name in package["files"]]

# As published: the registry's own `dist.integrity` of the package htmx.org 4.0.1, and the sha384 of
# its files worked out once from that package.
HTMX_PACKAGE = (
    "sha512-oF7JgXhDW9UXCy/k1ZYFUQgzu/rm19ORWPSPNL91vPlu"
    "B2PB9+MV55tyQdH/w7o2EAbTYUG5SDW1R60mdkdqGg=="
)
HTMX_FILES = {
    "htmx.min.js": "sha384-Qp9rdC8H7EqOoX+nR0P3RPG2Noji+qdwJlGpfzwQJsfOpp3sGwIdSP9xO3+UlEhn",
    "hx-sse.min.js": "sha384-v8HvucQ+ohQhMg0arboXc5049yNR46QKMjphs7YDch+Wm7zpfK5XVS01f26mQDJV",
}


def _sha384(path: Path) -> str:
    digest = hashlib.sha384(path.read_bytes()).digest()
    return f"sha384-{base64.b64encode(digest).decode()}"


@pytest.mark.parametrize("folder, name", FILES)
def test_every_file_has_the_hash_that_is_listed(folder: str, name: str) -> None:
    package = next(package for package in PACKAGES if package["folder"] == folder)
    assert _sha384(VENDOR / folder / name) == package["files"][name]


@pytest.mark.parametrize("place", ["tests/browser/vendor", "app/installation/vendor"])
def test_what_is_kept_elsewhere_has_the_hashes_that_are_listed(place: str) -> None:
    kept = ROOT / place
    listed = {}
    for package in tomllib.loads((kept / "VENDORED.toml").read_text("utf-8"))["package"]:
        folder = kept / package.get("folder", "")
        listed |= {folder / name: sha384 for name, sha384 in package["files"].items()}
    found = {path for path in kept.rglob("*") if path.is_file() and path.name != "VENDORED.toml"}
    assert {path: _sha384(path) for path in found} == listed


def test_nothing_is_kept_that_is_not_listed() -> None:
    kept = {path for path in VENDOR.rglob("*") if path.is_file() and path != LIST}
    assert kept == {VENDOR / folder / name for folder, name in FILES}


def test_htmx_is_the_one_that_was_published() -> None:
    htmx = next(package for package in PACKAGES if package["name"] == "htmx.org")
    assert htmx["version"] == "4.0.1"
    assert htmx["integrity"] == HTMX_PACKAGE
    assert {name: htmx["files"][name] for name in HTMX_FILES} == HTMX_FILES


@pytest.mark.parametrize("package", PACKAGES, ids=lambda package: package["folder"])
def test_every_package_says_its_version_and_licence_and_brings_the_text(
    package: dict[str, Any],
) -> None:
    assert package["version"] in package["folder"]
    assert package["licence"] in {"0BSD", "OFL-1.1"}
    assert (VENDOR / package["folder"] / "LICENSE").read_text("utf-8").strip()


def test_the_list_names_no_server() -> None:
    assert "://" not in LIST.read_text("utf-8")


def test_pages_load_scripts_of_others_as_they_were_published() -> None:
    assert set(VENDORED_SCRIPTS) == HTMX_FILES.keys()
    bundle = Assets(ROOT / "static").find(SCRIPTS).content
    for name in VENDORED_SCRIPTS:
        (path,) = VENDOR.rglob(name)
        assert path.read_bytes() in bundle


def test_a_script_of_others_that_was_changed_is_not_served(tmp_path: Path) -> None:
    static = Path(shutil.copytree(ROOT / "static", tmp_path / "static"))
    (changed,) = static.rglob("htmx.min.js")
    changed.write_bytes(changed.read_bytes() + b"\n")
    with pytest.raises(RuntimeError, match=r"htmx.min.js is not as it was published"):
        Assets(static).find(SCRIPTS)


def test_the_style_sheets_load_nothing_from_elsewhere() -> None:
    for sheet in (ROOT / "static" / "css").glob("*.css"):
        text = sheet.read_text("utf-8")
        assert "://" not in text, sheet.name
        assert "@import" not in text, sheet.name
