"""Pages that come in when one is asked for answer as if they had been there all along."""

import subprocess
import sys
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.config import Settings
from app.main import create_app
from app.web.pages import PAGES
from app.web.serving import FIRST
from tests.factories import NOW, ROOM, furnish
from tests.furnished import prepare
from tests.running import ROOT

NOT_AT_A_START = (
    "PIL", "alembic", "app.api.application", "app.web.pages", "app.web.spend", "babel",
    "holidays", "mako", "pillow_heif", "psycopg", "segno", "sqlalchemy.dialects.postgresql",
    "xlsxwriter",
)  # fmt: skip


@pytest.fixture
def client(tmp_path: Path) -> Iterator[TestClient]:
    """A browser at a server as it is after its start."""
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), clock=lambda: NOW, are_pages_deferred=True)
    furnish(app.state.store)
    with TestClient(app, base_url="http://room.test") as client:
        yield client


def test_the_first_request_of_another_page_brings_it_in(client: TestClient) -> None:
    assert client.get(f"/rooms/{ROOM}").status_code == 200
    assert client.get(f"/rooms/{ROOM}/tanks/t1").status_code == 200
    assert client.get(f"/rooms/{ROOM}").status_code == 200


def test_a_form_can_be_the_first_request_of_all(client: TestClient) -> None:
    form = {"resin": "slate", "parts": "3"}
    assert client.post(f"/rooms/{ROOM}/tanks/t1/log/wash", data=form).status_code == 200
    assert client.get("/api/v1/rooms").status_code == 200


@pytest.mark.parametrize("path", ["/nothing", f"/rooms/{ROOM}/nothing", "/static/nothing"])
def test_an_unknown_address_is_unknown_before_and_after(client: TestClient, path: str) -> None:
    for _ in range(2):
        answer = client.get(path)
        assert answer.status_code == 404
        assert "nothing at this address" in answer.text


def test_a_method_that_a_page_does_not_take_is_refused(client: TestClient) -> None:
    for _ in range(2):
        assert client.delete(f"/rooms/{ROOM}").status_code == 405


def test_those_who_ask_at_once_all_get_their_page(client: TestClient) -> None:
    asked = [f"/rooms/{ROOM}/{page}" for page in ("tanks/t1", "shelf", "waste", "plan")] * 3
    with ThreadPoolExecutor(8) as pool:
        answers = list(pool.map(client.get, asked))
    assert [answer.status_code for answer in answers] == [200] * len(asked)


def test_the_first_pages_are_tried_first_either_way() -> None:
    """So an address means the same however the pages came in."""
    assert PAGES[: len(FIRST)] == FIRST


def test_a_start_leaves_alone_what_only_some_pages_use() -> None:
    code = (
        "import sys, app.cli.serving, app.cli.demo\n"
        f"print(*(name for name in {NOT_AT_A_START!r} if name in sys.modules))"
    )
    command = [sys.executable, "-c", code]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.split() == []
