"""What is refused before any page sees it, and the headers every answer carries."""

from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.config import Settings
from app.main import create_app
from tests.factories import NOW, ROOM


def test_every_page_carries_the_headers_of_safety(client: TestClient) -> None:
    headers = client.get("/").headers
    assert "default-src 'self'" in headers["content-security-policy"]
    assert "unsafe" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://elsewhere.test"},
        {"Origin": "null"},
        {"Origin": "http://["},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ],
)
def test_a_form_from_another_site_is_refused(client: TestClient, headers: dict[str, str]) -> None:
    answer = client.post(
        f"/rooms/{ROOM}/tanks/t1/log/wash", data={"resin": "slate", "parts": "3"}, headers=headers
    )
    assert answer.status_code == 403


def test_a_form_from_this_site_is_taken(client: TestClient) -> None:
    headers = {"Origin": "http://room.test", "Sec-Fetch-Site": "same-origin"}
    answer = client.post(
        f"/rooms/{ROOM}/tanks/t1/log/wash", data={"resin": "slate", "parts": "3"}, headers=headers
    )
    assert answer.status_code == 200


def test_a_body_larger_than_accepted_is_refused(tmp_path: Path) -> None:
    settings = Settings(data_dir=tmp_path, longest_upload_bytes=1000)
    with TestClient(create_app(settings, clock=lambda: NOW), base_url="http://room.test") as client:
        answer = client.post("/rooms/new", data={"name": "x" * 5000})
        assert answer.status_code == 413
        form = {"Content-Type": "application/x-www-form-urlencoded"}
        pieces = iter([b"name=" + b"x" * 900] * 4)
        streamed = client.post("/rooms/new", content=pieces, headers=form)
        assert streamed.status_code == 413


@pytest.mark.parametrize(
    "path", ["/nothing", "/rooms/x/y/z", "/static/../app/main.py", "/static/%2e%2e/x"]
)
def test_unknown_addresses_answer_404_in_words(client: TestClient, path: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 404
    assert "nothing at this address" in answer.text


@pytest.mark.parametrize("length", ["", "abc", "-1", "٣"])
def test_a_length_that_is_no_number_is_not_called_too_large(
    client: TestClient, length: str
) -> None:
    """RFC 9110, section 8.6: digits only. A server refuses it; where it comes through, the body
    is counted."""
    answer = client.get("/rooms", headers={"content-length": length.encode()})
    assert answer.status_code == 200


@pytest.mark.parametrize("length", [str(2**40), "9" * 6000, "0" * 50 + str(2**40)])
def test_a_length_beyond_what_is_accepted_is_refused_before_the_body(
    client: TestClient, length: str
) -> None:
    answer = client.get("/rooms", headers={"content-length": length})
    assert answer.status_code == 413


def test_leading_noughts_do_not_make_a_body_large(client: TestClient) -> None:
    assert client.get("/rooms", headers={"content-length": "0" * 50}).status_code == 200
