"""Every error is a problem (RFC 9457), and no input makes the server fail."""

import json
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy.exc import OperationalError
from starlette.testclient import TestClient

from app.config import Settings
from app.main import create_app
from tests.api.conftest import BASE
from tests.factories import NOW
from tests.furnished import prepare

ENTRIES = f"{BASE}/entries"
JSON = {"Content-Type": "application/json"}
WASH = '"kind": "wash", "tank": "t1", "resin": "slate", "area_cm2": 900'


def check_problem(answer: Any, status: int) -> dict[str, Any]:
    """The answer's problem, of the members that RFC 9457 section 3.1 names."""
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    problem: dict[str, Any] = answer.json()
    assert problem["type"] == "about:blank"
    assert problem["status"] == status
    assert problem["title"]
    assert problem["detail"]
    return problem


def test_an_unknown_address_is_a_problem(client: TestClient) -> None:
    for path in ("/api/v1/nothing", "/api/nothing", "/api/v1/rooms/", f"{BASE}/tanks/nothing"):
        check_problem(client.get(path), 404)


def test_a_wrong_method_is_a_problem_that_names_the_right_ones(client: TestClient) -> None:
    """RFC 9110 section 15.5.6: a 405 must carry Allow."""
    answer = client.delete(ENTRIES)
    check_problem(answer, 405)
    assert answer.headers["allow"] == "GET, HEAD, POST"


@pytest.mark.parametrize(
    "body, status",
    [
        (b"", 422),
        (b"{", 400),
        (b"nonsense", 400),
        (b'{"note": "\xff\xfe"}', 400),
        (b"[" * 100_000, 400),
        (b"[" * 100_000 + b"]" * 100_000, 400),
        (b'{"a":' * 100_000, 400),
        (b'{"parts": NaN}', 400),
        (b'{"parts": -Infinity}', 400),
        (b'{"parts": ' + b"9" * 5000 + b"}", 400),
        (f'{{{WASH}, "parts": 1, "parts": 2}}'.encode(), 400),
        (f'{{{WASH}, "note": "\\ud800"}}'.encode(), 422),
        (f'{{{WASH}, "\\ud800": 1}}'.encode(), 422),
        (f'{{{WASH}, "note": "\\u0000"}}'.encode(), 422),
        (f'{{{WASH}, "minutes": 1e999}}'.encode(), 422),
        (f'{{{WASH}, "{"x" * 100_000}": 1}}'.encode(), 422),
        (b"null", 422),
        (b"[]", 422),
        (b'"wash"', 422),
        (b"\xef\xbb\xbf{}", 400),
    ],
)
def test_a_body_that_is_no_entry_is_a_problem(client: TestClient, body: bytes, status: int) -> None:
    answer = client.post(ENTRIES, content=body, headers=JSON)
    check_problem(answer, status)
    assert len(answer.content) < 4000


@pytest.mark.parametrize(
    "content_type",
    ["", "text/plain", "application/x-www-form-urlencoded", "application/json; charset=latin-1"],
)
def test_json_must_be_said_to_be_json(client: TestClient, content_type: str) -> None:
    headers = {"Content-Type": content_type} if content_type else {}
    check_problem(client.post(ENTRIES, content=f"{{{WASH}}}".encode(), headers=headers), 415)


def test_json_may_say_that_it_is_utf_8(client: TestClient) -> None:
    headers = {"Content-Type": "Application/JSON; charset=UTF-8"}
    answer = client.post(ENTRIES, content=f"{{{WASH}}}".encode(), headers=headers)
    assert answer.status_code == 201


def test_too_large_a_body_is_refused(client: TestClient) -> None:
    body = json.dumps({"kind": "wash", "note": "x" * 10_000_000}).encode()
    check_problem(client.post(ENTRIES, content=body, headers=JSON), 413)


def test_too_large_a_body_in_unannounced_pieces_is_refused(client: TestClient) -> None:
    pieces = (b"x" * 1_000_000 for _ in range(10))
    check_problem(client.post(ENTRIES, content=pieces, headers=JSON), 413)


def test_a_write_from_another_site_is_refused(client: TestClient) -> None:
    headers = {**JSON, "Origin": "http://elsewhere.test"}
    check_problem(client.post(ENTRIES, content=f"{{{WASH}}}".encode(), headers=headers), 403)


def test_a_failure_of_ours_is_a_problem_without_a_trace(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail(*arguments: object) -> None:  # noqa: ARG001
        raise OperationalError("SELECT secret", {}, Exception("disk I/O error"))

    monkeypatch.setattr("app.store.queries.board", fail)
    answer = client.get(f"{BASE}/tanks")
    check_problem(answer, 500)
    assert "secret" not in answer.text


@pytest.mark.parametrize("key", ["%00", "%ff", "a%2Fb", "..%2f..", "a" * 65, "%D9%A1", "%20t1"])
def test_a_key_of_a_wrong_shape_is_not_found(client: TestClient, key: str) -> None:
    check_problem(client.get(f"{BASE}/tanks/{key}"), 404)
    check_problem(client.get(f"/api/v1/rooms/{key}/tanks"), 404)


def test_head_is_get_without_its_body(client: TestClient) -> None:
    """RFC 9110 section 9.3.2."""
    named = {"X-Request-Id": "the-same-request"}
    for path in (f"{BASE}/swaps", "/api/v1/nothing"):
        get, head = client.get(path, headers=named), client.head(path, headers=named)
        assert head.status_code == get.status_code
        assert head.content == b""
        assert head.headers == get.headers


def test_the_whole_application_keeps_pages_and_programs_apart(tmp_path: Path) -> None:
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), lambda: NOW)
    client = TestClient(app, raise_server_exceptions=False)
    check_problem(client.get("/api/v1/nothing"), 404)
    assert client.get("/nothing").headers["content-type"].startswith("text/html")
    assert client.get("/api/v1/rooms").json() == {"rooms": []}
    app.state.store.close()
