"""What is refused before any page sees it, and the headers every answer carries."""

import asyncio
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from app.config import Settings
from app.main import create_app
from app.web import guard
from tests.factories import NOW, ROOM
from tests.loops import in_loop


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


PAGES = ["/", "/rooms", f"/rooms/{ROOM}", f"/rooms/{ROOM}/plan", f"/rooms/{ROOM}/tanks/t1"]


@pytest.mark.parametrize("path", [*PAGES, "/nothing", f"/api/v1/rooms/{ROOM}", "/api/v1/rooms"])
def test_head_is_the_page_without_its_content(client: TestClient, path: str) -> None:
    """RFC 9110, section 9.3.2."""
    named = {"X-Request-Id": "the-same-request"}
    get, head = client.get(path, headers=named), client.head(path, headers=named)
    assert (head.status_code, head.content) == (get.status_code, b"")
    assert head.headers == get.headers


def test_the_head_of_what_has_no_end_comes_at_once(client: TestClient) -> None:
    head = client.head(f"/rooms/{ROOM}/live")
    assert head.headers["content-type"].startswith("text/event-stream")


def test_head_stores_nothing(client: TestClient) -> None:
    assert client.head(f"/rooms/{ROOM}/crew").status_code == 200
    assert client.head("/api/v1/rooms/x/preview").status_code == 405


@pytest.mark.parametrize("path", [f"/rooms/{ROOM}/plan", "/rooms", f"/rooms/{ROOM}/log"])
def test_no_copy_of_a_page_stays_behind(client: TestClient, path: str) -> None:
    """RFC 9111, section 5.2.2.5."""
    answer = client.get(path)
    assert answer.status_code == 200
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", [f"/rooms/{ROOM}", f"/api/v1/rooms/{ROOM}/tanks"])
def test_a_live_page_is_kept_by_its_reader_alone_and_asked_for_anew(
    client: TestClient, path: str
) -> None:
    """RFC 9111, sections 5.2.2.4 and 5.2.2.7: a copy may be compared, never shown unasked."""
    answer = client.get(path)
    assert answer.headers["cache-control"] == "private, no-cache"
    known = {"If-None-Match": answer.headers["etag"]}
    unchanged = client.get(path, headers=known)
    assert unchanged.status_code == 304
    assert unchanged.headers["cache-control"] == "private, no-cache"


class Sender:
    """A client of an application that sends a body in pieces, and the answer it had."""

    def __init__(self, app: Any, path: str, kind: str, pieces: Iterator[bytes]) -> None:
        self.status, self.body, self.headers = 0, b"", {}
        self.is_waiting, self.go_on, self._pieces = asyncio.Event(), asyncio.Event(), pieces
        head = [(b"host", b"room.test"), (b"content-type", kind.encode())]
        scope = {
            "type": "http", "method": "POST", "path": path, "raw_path": path.encode(),
            "query_string": b"", "headers": head, "scheme": "http", "http_version": "1.1",
            "server": ("room.test", 80), "client": ("127.0.0.1", 1), "root_path": "", "app": app,
        }  # fmt: skip
        self.task = asyncio.create_task(app(scope, self._receive, self._send))

    async def _receive(self) -> dict[str, Any]:
        for piece in self._pieces:
            return {"type": "http.request", "body": piece, "more_body": True}
        self.is_waiting.set()
        await self.go_on.wait()
        return {"type": "http.request", "body": b"", "more_body": False}

    async def _send(self, message: dict[str, Any]) -> None:
        if message["type"] == "http.response.start":
            self.status = message["status"]
            self.headers = {name.decode(): value.decode() for name, value in message["headers"]}
        self.body += message.get("body", b"")

    async def told(self) -> int:
        """Send the end of the body: the status of the answer."""
        self.go_on.set()
        await asyncio.wait_for(self.task, 20)
        return self.status


FORM, JSON = "application/x-www-form-urlencoded", "application/json"
ENTRIES, WASH = f"/api/v1/rooms/{ROOM}/entries", f"/rooms/{ROOM}/tanks/t1/log/wash"
MB = 1024 * 1024


def test_bodies_that_wait_take_a_bounded_memory_and_keep_no_wash_out(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many send a large body and never its end: 503 (RFC 9110, section 15.6.4)."""
    monkeypatch.setattr(guard, "LARGE_BODIES_BYTES", 5 * MB)
    app: Any = client.app

    async def crowd() -> None:
        def large(pieces: int = 2) -> Sender:
            return Sender(app, ENTRIES, JSON, iter([b" " * MB] * pieces))

        held = [large() for _ in range(2)]
        for one in held:
            await asyncio.wait_for(one.is_waiting.wait(), 20)
        late = large()
        assert await late.told() == 503
        assert json.loads(late.body)["detail"] == guard.FULL
        assert late.headers["retry-after"] == str(guard.FULL_FOR_S)
        wash = Sender(app, WASH, FORM, iter([b"resin=slate&parts=3&submission=w1"]))
        assert await wash.told() == 303
        assert await held[0].told() == 400, "no JSON"
        assert await large().told() == 400, "there is room again"
        held[1].task.cancel()
        await asyncio.gather(held[1].task, return_exceptions=True)
        assert await large(4).told() == 400, "also of one who went away"

    in_loop(crowd())


@pytest.mark.parametrize("path", ["/sign-in", "/sign-out", "/first-manager", "/own-secret"])
def test_what_anybody_may_send_is_small(client: TestClient, path: str) -> None:
    form = {"Content-Type": FORM}
    pieces = iter([b"x=" + b"y" * 500_000, b"&z=" + b"y" * 600_000])
    if path != "/sign-out":  # which reads none
        assert client.post(path, content=pieces, headers=form).status_code == 413
    assert client.post(path, content=b"x" * 1_100_000, headers=form).status_code == 413
