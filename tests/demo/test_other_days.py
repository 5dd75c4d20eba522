"""The demo on other days: its history is placed against today, so each day draws other pictures."""

import re
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from starlette.routing import Match

from app.config import Settings
from app.main import create_app
from app.web.pages import PAGES
from tests.furnished import fill_with_demo, prepare

HOST = "http://localhost"
START = "/rooms/larkmoor"
A_ROUTE = 3  # so many addresses of one route are opened
NONSENSE = re.compile(r'\b(nan|NaN|Infinity|undefined)\b|>\s*-?inf\s*<|="None"|(width|height|r)="-')
LINK = re.compile(r'\b(?:href|hx-get|hx-sse:connect)="([^"#]+)"')


@pytest.mark.slow
def test_every_page_answers_and_draws_sense(tmp_path: Path, day: str) -> None:
    now = datetime.fromisoformat(day)
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), clock=lambda: now)
    fill_with_demo(app.state.store, now)
    opened = 0
    with TestClient(app, base_url=HOST) as client:
        for address, page in _crawled(client):
            assert not (found := NONSENSE.search(page)), (address, found)
            opened += 1
    assert opened > 80


def _crawled(client: TestClient) -> Iterator[tuple[str, str]]:
    """Each page that links lead to from the room's page, a few of each route."""
    seen, waiting, opened = {START}, [START], dict[str, int]()
    while waiting:
        address = waiting.pop(0)
        route = _route(address)
        opened[route] = opened.get(route, 0) + 1
        if opened[route] > A_ROUTE or route.endswith("/live"):
            continue
        answer = client.get(address)
        assert answer.status_code == 200, (address, answer.status_code)
        if not answer.headers["content-type"].startswith("text/html"):
            continue
        yield address, answer.text
        for link in LINK.findall(answer.text):
            there = urljoin(address, link.replace("&amp;", "&"))
            if not urlsplit(there).scheme and there not in seen:
                seen.add(there)
                waiting.append(there)


ROUTES = [route for task in PAGES for route in task.router.routes if isinstance(route, APIRoute)]


def _route(address: str) -> str:
    """The path of the page that an address opens; the API and files count as one each."""
    scope = {"type": "http", "method": "GET", "path": urlsplit(address).path, "headers": []}
    for route in ROUTES:
        if route.matches(scope)[0] is Match.FULL:
            return route.path
    return address.split("/")[1]
