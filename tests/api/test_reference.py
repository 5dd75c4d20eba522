"""The API's description: for programs, for people, and the guide in docs/api.md."""

import json
import re
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.domain.instruments import INSTRUMENTS
from app.domain.roomlog.kinds import KINDS

GUIDE = Path(__file__).parents[2] / "docs" / "api.md"
OUTSIDE = re.compile(r"(?:https?:)?//[\w.-]+")


@pytest.fixture
def document(client: TestClient) -> dict[str, Any]:
    answer: dict[str, Any] = client.get("/api/v1/openapi.json").json()
    return answer


def operations(document: dict[str, Any]) -> set[str]:
    return {
        f"{method.upper()} /api{path}"
        for path, methods in document["paths"].items()
        for method in methods
    }


def test_the_description_is_openapi_3_1(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1.")
    assert document["servers"] == [{"url": "/api"}]


def test_every_error_is_described_as_a_problem(document: dict[str, Any]) -> None:
    for methods in document["paths"].values():
        for operation in methods.values():
            for status, answer in operation["responses"].items():
                if status[0] in "45":
                    assert list(answer["content"]) == ["application/problem+json"]


def test_every_kind_and_instrument_is_in_the_description(document: dict[str, Any]) -> None:
    said = json.dumps(document["components"]["schemas"])
    for name in (*(set(KINDS) - {"withdrawal"}), *INSTRUMENTS):
        assert f'"const": "{name}"' in said


def test_the_page_shows_every_request_and_needs_nothing_from_outside(
    client: TestClient, document: dict[str, Any]
) -> None:
    for path in ("/api", "/api/"):
        answer = client.get(path)
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/html")
    for operation in operations(document):
        assert f"<h3>{operation}</h3>" in answer.text
    assert not OUTSIDE.search(answer.text)
    assert "<script" not in answer.text
    assert "style=" not in answer.text


def test_the_links_of_the_page_lead_somewhere(client: TestClient) -> None:
    found = _Anchors()
    found.feed(client.get("/api/").text)
    assert found.targets
    assert found.targets <= found.ids


def test_the_guide_names_every_request(document: dict[str, Any]) -> None:
    guide = GUIDE.read_text(encoding="utf-8")
    named = set(re.findall(r"`((?:GET|POST|PUT) /api/[^`\s?]*)`", guide))
    assert named == operations(document)


def test_every_task_of_the_pages_has_its_request_in_the_guide() -> None:
    """A new page without a counterpart here fails this test."""
    from app.web.pages import PAGES

    guide = GUIDE.read_text(encoding="utf-8")
    table = guide.partition("## Tasks")[2].partition("\n## ")[0]
    tasks = set(re.findall(r"^\| `([\w.]+)` \|", table, re.MULTILINE))
    assert tasks == {page.__name__.removeprefix("app.web.") for page in PAGES}


class _Anchors(HTMLParser):
    """The ids of a page, and those that its links lead to."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: set[str] = set()
        self.targets: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id" and value:
                self.ids.add(value)
            elif tag == "a" and name == "href" and value and value.startswith("#"):
                self.targets.add(value[1:])
