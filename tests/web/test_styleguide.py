"""The style guide shows every component in every state."""

import re
from collections.abc import Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from app.config import Settings
from app.web import styleguide, words
from app.web.people.sessions import SignIn
from app.web.render import ENVIRONMENT, ROOT


@pytest.fixture
def guide() -> Iterator[TestClient]:
    app = FastAPI()
    app.state.sign_in, app.state.settings = SignIn(), Settings()
    app.include_router(styleguide.router)
    with TestClient(app) as client:
        yield client


@pytest.mark.parametrize(
    "count, shown", [(0, 0), (1, 1), (8, 8), (24, 24), (60, 60), (999, 60), (-1, 0)]
)
def test_the_board_shows_as_many_tanks_as_asked(guide: TestClient, count: int, shown: int) -> None:
    page = guide.get("/styleguide", params={"count": count})
    assert page.status_code == 200
    board = page.text.split('class="page-body"')[0]
    assert board.count('<a class="tank ') == shown


def test_every_state_that_the_pages_know_is_shown(guide: TestClient) -> None:
    shown = set(re.findall(r"vessel vessel-(\w+)", guide.get("/styleguide").text))
    assert shown == set(words.TAGS)


def test_every_macro_is_shown() -> None:
    source = (ROOT / "templates" / "styleguide.html").read_text("utf-8")
    macros = vars(ENVIRONMENT.get_template("_macros.html").module)
    named = {name for name in macros if not name.startswith("_")}
    # `vessel` is shown inside `need_row`.
    assert {name for name in named if not re.search(rf"\b{name}\(", source)} <= {"vessel"}


def test_ids_are_used_once(guide: TestClient) -> None:
    ids = re.findall(r'\sid="([^"]+)"', guide.get("/styleguide").text)
    assert len(ids) == len(set(ids))
