"""What the log says of requests: enough to find one, nothing that was typed."""

import json
import logging
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest
from fastapi.testclient import TestClient

from app import logged
from app.config import Settings
from app.domain.errors import DomainError
from app.logged import log_as
from app.main import create_app
from tests.factories import NOW, ROOM, furnish
from tests.furnished import prepare
from tests.loops import in_loop

WORDS = "drum by the door leaks"
PIN = "739251"

pytestmark = pytest.mark.usefixtures("log_as_before")


def visit(folder: Path, how: str, **more: Any) -> TestClient:
    """A browser on a furnished room whose log goes to a file."""
    prepare(folder)
    settings = Settings(data_dir=folder, log=how, log_file=folder / "log", **more)
    app = create_app(settings, clock=lambda: NOW)
    furnish(app.state.store, tanks=1)
    log_as(settings)
    return TestClient(app, base_url="http://room.test", raise_server_exceptions=False)


def lines(folder: Path) -> list[dict[str, Any]]:
    """The log, each line read by itself."""
    return [json.loads(line) for line in (folder / "log").read_text("utf-8").splitlines()]


def test_a_request_is_a_line_with_its_id_route_status_time_and_room(tmp_path: Path) -> None:
    with visit(tmp_path, "json", allowed_hosts=("room.test",)) as client:
        answer = client.get(f"/rooms/{ROOM}/tanks/t1?note={WORDS}")
    (line,) = (one for one in lines(tmp_path) if "route" in one)
    assert line["route"] == "/rooms/{room}/tanks/{tank}"
    assert (line["method"], line["status"], line["room"], line["level"]) == (
        "GET",
        200,
        ROOM,
        "info",
    )
    assert line["request"] == answer.headers["x-request-id"]
    assert line["duration_ms"] > 0
    assert "T" in line["at"]


def test_nothing_that_is_typed_is_in_the_log(tmp_path: Path) -> None:
    secret = "token-of-twenty-letters"
    with visit(tmp_path, "json", allowed_hosts=("room.test",), metrics_token=secret) as client:
        sent = {"note": WORDS, "by": WORDS, "pin": PIN, "area_cm2": WORDS, "resin": WORDS}
        client.post(f"/rooms/{ROOM}/tanks/t1/log/wash", data=sent)
        client.post("/sign-in", data={"pin": PIN, "who": "1", "name": WORDS})
        client.post(f"/api/v1/rooms/{ROOM}/entries", json={"kind": "wash", "note": WORDS})
        client.get(f"/rooms/{ROOM}/find?q={WORDS}", headers={"Authorization": f"Bearer {secret}"})
        client.get(f"/{WORDS}")
        client.get(f"/rooms/{ROOM}/tanks/{WORDS}")
    text = (tmp_path / "log").read_text("utf-8")
    assert len(lines(tmp_path)) >= 6
    for word in (WORDS, "drum", PIN, secret):
        assert word not in text


@pytest.mark.parametrize("how", ["json", "plain", "warnings"])
def test_a_fault_has_its_trace_in_the_log_and_not_on_the_page(tmp_path: Path, how: str) -> None:
    client = visit(tmp_path, how, allowed_hosts=("room.test",))

    def fail() -> None:
        logging.getLogger("app.web.errors").error("It failed.", exc_info=ValueError("own words"))
        raise ValueError("own words")

    client.app.add_api_route("/fails", fail)  # type: ignore[attr-defined]
    with client:
        answer = client.get("/fails", headers={"X-Request-Id": "proxy-0001"})
    assert answer.status_code == 500
    assert "own words" not in answer.text
    text = (tmp_path / "log").read_text("utf-8")
    assert "ValueError: own words" in text
    assert "proxy-0001" in text


def test_no_message_begins_a_line_of_its_own(tmp_path: Path) -> None:
    """Log injection (CWE-117): what is told as one line is one, whatever it holds."""
    hostile = "a\r\n2026-01-01 ERROR forged\x1b[2J\u202e\u2028b"
    for how in ("json", "plain"):
        log_as(Settings(log=how, log_file=tmp_path / how))
        logging.getLogger("app").warning("%s", hostile)
        text = (tmp_path / how).read_text("utf-8")
        assert len(text.splitlines()) == 1
        assert "\x1b" not in text
        assert "forged" in text


@pytest.mark.parametrize("given", ["x", "a b c d e f g h", "<script>alert(1)", "a" * 65, "é" * 9])
def test_an_id_that_is_none_is_not_taken_over(tmp_path: Path, given: str) -> None:
    with visit(tmp_path, "json", allowed_hosts=("room.test",)) as client:
        answer = client.get("/healthz", headers={"X-Request-Id": given.encode()})  # type: ignore[dict-item]
    assert answer.headers["x-request-id"] != given
    assert len(answer.headers["x-request-id"]) == 32


def test_what_is_refused_at_the_edge_is_told_too(tmp_path: Path) -> None:
    with visit(tmp_path, "plain", allowed_hosts=("room.test",)) as client:
        client.get("/", headers={"Host": "elsewhere.test"})
        client.post(f"/rooms/{ROOM}/who", headers={"Origin": "http://elsewhere.test"})
    text = (tmp_path / "log").read_text("utf-8")
    assert "status=400" in text
    assert "status=403" in text
    assert "elsewhere" not in text


def test_the_file_stays_flat(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(logged, "FILE_BYTES", 5_000)
    log_as(Settings(log="json", log_file=tmp_path / "log"))
    for number in range(2_000):
        logging.getLogger("app").warning("line %s", number)
    files = list(tmp_path.iterdir())
    assert len(files) == 1 + logged.OLD_FILES
    assert sum(file.stat().st_size for file in files) <= 6 * 5_000


def test_a_file_that_cannot_be_written_ends_the_start(tmp_path: Path) -> None:
    with pytest.raises(DomainError, match="BATHKEEPER_LOG_FILE cannot be written"):
        log_as(Settings(log_file=tmp_path / "nowhere" / "log"))


def test_a_server_writes_them_to_the_standard_error(serve: Any) -> None:
    server = serve("serve", "--sign-in", "on", variables={"BATHKEEPER_LOG": "json"})
    for path in ("/healthz?x=1", "/readyz"):
        urlopen(f"{server.url}{path}", timeout=60).close()
    server.stop()
    written = [one for one in server.log.read_text("utf-8").splitlines() if one.startswith("{")]
    routes = [json.loads(one).get("route") for one in written]
    assert "/healthz" in routes
    assert "x=1" not in server.log.read_text("utf-8")


@pytest.mark.parametrize("path", ["tanks/t1/log/wash", "tanks/t1", "tanks/t1/hold", "who"])
def test_a_tablet_that_is_lost_as_it_sends_is_no_fault(tmp_path: Path, path: str) -> None:
    scope = {
        "type": "http", "http_version": "1.1", "method": "POST", "scheme": "http",
        "path": f"/rooms/{ROOM}/{path}", "raw_path": b"", "query_string": b"", "root_path": "",
        "headers": [
            (b"host", b"room.test"), (b"content-type", b"application/x-www-form-urlencoded"),
            (b"content-length", b"100"),
        ],
        "client": ("192.0.2.7", 50000), "server": ("room.test", 80),
    }  # fmt: skip
    coming = [
        {"type": "http.request", "body": b"resin=", "more_body": True}, {"type": "http.disconnect"},
    ]  # fmt: skip

    async def receive() -> dict[str, Any]:
        return coming.pop(0) if len(coming) > 1 else coming[0]

    async def send(_: Any) -> None:
        """Nobody is there to take it."""

    with visit(tmp_path, "json", allowed_hosts=("room.test",)) as client:
        in_loop(client.app(scope, receive, send))
    told = lines(tmp_path)
    assert [one["status"] for one in told if one.get("method") == "POST"] == [400]
    assert not [one for one in told if one["level"] == "error"]
