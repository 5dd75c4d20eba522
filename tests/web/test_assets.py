"""What pages load beside themselves: named by its content, compressed, kept for good."""

import gzip
import re
import shutil
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.web.assets import FONT, ICON, SCRIPTS, STEPS, STYLES, Assets, accepts_gzip
from tests.factories import ROOM

ROOT = Path(__file__).parent.parent.parent
ALL = (STYLES, SCRIPTS, STEPS, FONT, ICON, "drawings/seal_hard.svg")


@pytest.fixture
def assets(tmp_path: Path) -> Assets:
    """The files of the project, in a folder of the test's own."""
    return Assets(Path(shutil.copytree(ROOT / "static", tmp_path / "static")))


def linked(page: str) -> list[str]:
    """What a page loads."""
    return re.findall(r'(?:href|src)="(/static/[^"]+)"', page)


@pytest.fixture
def plain(client: TestClient) -> TestClient:
    """A client that takes nothing compressed."""
    client.headers["Accept-Encoding"] = "identity"
    return client


def test_a_page_loads_four_files_and_each_is_kept_for_good(plain: TestClient) -> None:
    found = linked(plain.get(f"/rooms/{ROOM}").text)
    assert len(found) == 4
    for address in found:
        answer = plain.get(address)
        assert answer.status_code == 200, address
        assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"
        assert answer.headers["content-length"] == str(len(answer.content))
        assert plain.head(address).status_code == 200


def test_text_is_sent_compressed_to_whoever_takes_it(plain: TestClient) -> None:
    for address in linked(plain.get(f"/rooms/{ROOM}").text):
        full = plain.get(address)
        packed = plain.get(address, headers={"Accept-Encoding": "br, gzip"})
        assert packed.content == full.content  # the client unpacks
        is_text = not address.endswith(".woff2")
        assert (packed.headers.get("content-encoding") == "gzip") is is_text
        assert ("Accept-Encoding" in full.headers.get("vary", "")) is is_text
        assert "content-encoding" not in full.headers


@pytest.mark.parametrize(
    "header, is_taken",
    [
        ("gzip", True), ("gzip, deflate, br", True), ("br;q=1.0, GZIP;q=0.8", True), ("*", True),
        ("", False), ("identity", False), ("gzip;q=0", False), ("gzip; q=0.000", False),
    ],
)  # fmt: skip
def test_the_header_says_whether_gzip_is_taken(header: str, is_taken: bool) -> None:
    """After RFC 9110, section 12.5.3."""
    assert accepts_gzip(header) is is_taken


@pytest.mark.parametrize("name", ALL)
def test_another_content_is_another_address(assets: Assets, name: str) -> None:
    source = {STYLES: "css/base.css", SCRIPTS: "js/once.js", STEPS: "js/ahead.js"}.get(name, name)
    if name == FONT:
        return
    before = assets.address(name)
    path = assets.folder / source
    path.write_text(path.read_text("utf-8") + "\n.x { color: red; }\n", "utf-8")
    assert Assets(assets.folder).address(name) != before


def test_an_address_of_another_content_is_nothing(client: TestClient) -> None:
    (styles,) = (a for a in linked(client.get("/rooms").text) if a.endswith(".css"))
    old = re.sub(r"-[0-9a-f]{12}", "-" + "0" * 12, styles)
    for address in (old, "/static/css/base.css", "/static/js/once.js", "/static/"):
        answer = client.get(address)
        assert answer.status_code == 404, address
        assert "immutable" not in answer.headers["cache-control"]
    assert client.post(styles, data={}).status_code in (403, 405)


def test_nothing_but_pictures_and_bundles_is_found(assets: Assets) -> None:
    for name in ("../app/main.py", "vendor/VENDORED.toml", "css/base.css", "none.svg"):
        with pytest.raises(KeyError):
            assets.find(name)


def test_comments_stay_at_home(assets: Assets) -> None:
    assert b"/*" not in assets.find(STYLES).content
    assert not re.search(rb"^\s*// ", assets.find(SCRIPTS).content, re.MULTILINE)


def test_pages_are_compressed_for_whoever_takes_it(client: TestClient) -> None:
    page = client.get(f"/rooms/{ROOM}")
    assert page.headers["content-encoding"] == "gzip"
    assert "accept-encoding" in page.headers["vary"].lower()
    plain = client.get(f"/rooms/{ROOM}/log", headers={"Accept-Encoding": "identity"})
    assert "content-encoding" not in plain.headers
    assert len(gzip.compress(plain.content)) < len(plain.content) / 3


def test_a_newer_style_sheet_makes_the_room_page_another_one(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Otherwise a page that was kept would ask for a style sheet that is gone."""
    tag = client.get(f"/rooms/{ROOM}").headers["etag"]
    known = {"If-None-Match": tag}
    assert client.get(f"/rooms/{ROOM}", headers=known).status_code == 304
    monkeypatch.setattr("app.web.rooms.board.ASSETS.version", "newer")
    assert client.get(f"/rooms/{ROOM}", headers=known).status_code == 200


def test_a_part_of_the_room_page_is_never_taken_for_the_page(client: TestClient) -> None:
    """A 304 for the part would let a browser show the page it keeps inside itself."""
    page = client.get(f"/rooms/{ROOM}")
    asked = {"If-None-Match": page.headers["etag"], "HX-Request": "true"}
    part = client.get(f"/rooms/{ROOM}", headers=asked)
    assert part.status_code == 200
    assert "<html" not in part.text
    assert "hx-request" in part.headers["vary"].lower()
    assert "etag" not in part.headers


def test_a_theme_that_was_chosen_stands_in_the_page(client: TestClient) -> None:
    assert "data-theme" not in client.get("/rooms").text.partition("<body")[0]
    for theme in ("light", "dark", "sun"):
        client.cookies.set("theme", theme)
        assert f'<html lang="en" data-theme="{theme}">' in client.get("/rooms").text
    client.cookies.set("theme", '"><script>')
    assert '<html lang="en">' in client.get("/rooms").text
