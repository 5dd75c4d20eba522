"""Every page is put in its place, and every page answers on a room that has seen something."""

import importlib
import pkgutil
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

import app.web
from app.web.assets import OWN_SCRIPTS, SHEETS, STEP_SCRIPTS
from app.web.pages import PAGES
from tests.contracts.seen_room import STREAM, addresses, page_paths


def test_every_router_is_listed() -> None:
    for module in pkgutil.walk_packages(app.web.__path__, "app.web."):
        loaded = importlib.import_module(module.name)
        if hasattr(loaded, "router"):
            assert loaded in PAGES, f"{module.name} has pages that nobody can open"


def test_there_are_pages() -> None:
    assert {"/", STREAM.removesuffix("/live"), "/rooms/{room}/tanks/{tank}"} <= set(page_paths())


WITH_HTTPS = "/tablets/site.crt"  # there is one where the program serves with a certificate


@pytest.mark.parametrize("path", [path for path in page_paths() if path != WITH_HTTPS])
def test_it_answers(client: TestClient, path: str, token: str) -> None:
    for address in addresses(path, token):
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert "default-src 'self'" in answer.headers["content-security-policy"]
        assert answer.text, address


@pytest.mark.parametrize("path", [path for path in page_paths() if "{" in path])
def test_it_says_so_where_there_is_nothing(client: TestClient, path: str) -> None:
    names = {"room": "nowhere", "tank": "none", "entry_id": "none", "task": "none", "token": "none"}
    names["run"] = "none"
    names |= dict.fromkeys(("what", "incident", "duty", "station", "resin"), "none")
    names |= dict.fromkeys(("inspection", "component", "photo", "size"), "none")
    names |= dict.fromkeys(("instrument", "look"), "none")
    names |= dict.fromkeys(("item", "move", "order", "drum", "pickup", "sort", "key"), "none")
    answer = client.get(path.format(**names))
    assert answer.status_code == 404
    assert "default-src 'self'" in answer.headers["content-security-policy"]


def test_every_style_sheet_and_script_of_ours_is_in_what_pages_load() -> None:
    static = Path(__file__).parent.parent.parent / "static"
    assert {path.stem for path in static.glob("css/*.css")} == set(SHEETS)
    assert {path.stem for path in static.glob("js/*.js")} == {*OWN_SCRIPTS, *STEP_SCRIPTS}
