"""What a monitor reads, by the parser of the library, and who may."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient
from prometheus_client.parser import text_string_to_metric_families
from sqlmodel import Session, select

from app.config import Settings, from_environment
from app.domain.errors import DomainError
from app.main import create_app
from app.services.baths.soon import make_due
from app.services.door import bring_in
from app.store.backups import back_up
from app.store.tables import EntryRow, ResinRow, TankRow
from app.web.live import Notices
from app.web.measuring import BOUNDS_S, Measured
from tests.factories import NOW, ROOM, furnish, wash
from tests.furnished import prepare
from tests.loops import in_loop

HERE, ELSEWHERE = ("127.0.0.1", 50_000), ("192.0.2.7", 50_000)
TOKEN = "a-token-of-some-length-1"
WASH = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 5, "by": "Quillfeather"}


@pytest.fixture
def app(tmp_path: Path) -> Iterator[Any]:
    prepare(tmp_path)
    made = create_app(Settings(data_dir=tmp_path), clock=lambda: NOW)
    furnish(made.state.store, tanks=2)
    yield made
    made.state.store.close()


def monitor(app: Any, client: tuple[str, int] = HERE) -> TestClient:
    return TestClient(app, base_url="http://room.test", client=client)


def read(
    client: TestClient, **headers: str
) -> dict[tuple[str, tuple[tuple[str, str], ...]], float]:
    answer = client.get("/metrics", headers=headers)
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"].startswith("text/plain; version=")
    return {
        (sample.name, tuple(sorted(sample.labels.items()))): sample.value
        for family in text_string_to_metric_families(answer.text)
        for sample in family.samples
    }


def requests(method: str, route: str, status: str) -> Any:
    labels = ("method", method), ("route", route), ("status", status)
    return "bathkeeper_requests_total", labels


def test_requests_are_counted_by_the_template_of_their_route(app: Any) -> None:
    client = monitor(app)
    before = read(client)
    for path in (f"/rooms/{ROOM}", f"/rooms/{ROOM}/tanks/t1", f"/rooms/{ROOM}/tanks/t2",
                 f"/rooms/{ROOM}/tanks/none", "/secret-place", "/static/none.css",
                 f"/api/v1/rooms/{ROOM}/tanks/t1"):  # fmt: skip
        client.get(path)
    assert client.post(f"/api/v1/rooms/{ROOM}/entries", json=WASH).status_code == 201
    found = read(client)
    assert found[requests("GET", "/rooms/{room}", "200")] == 1
    assert found[requests("GET", "/rooms/{room}/tanks/{tank}", "200")] == 2
    assert found[requests("GET", "/rooms/{room}/tanks/{tank}", "404")] == 1
    assert found[requests("GET", "unmatched", "404")] == 1
    assert found[requests("GET", "/static", "404")] == 1
    assert found[requests("GET", "/api/v1/rooms/{room}/tanks/{tank}", "200")] == 1
    assert found[requests("POST", "/api/v1/rooms/{room}/entries", "201")] == 1
    assert found["bathkeeper_writes_total", ()] == before["bathkeeper_writes_total", ()] + 1
    assert found["bathkeeper_entries_total", ()] == before["bathkeeper_entries_total", ()] + 1


def test_the_times_of_a_route_are_a_histogram(app: Any) -> None:
    client = monitor(app)
    for _ in range(3):
        client.get(f"/rooms/{ROOM}")
    found = read(client)
    route = ("route", "/rooms/{room}")
    below = [found["bathkeeper_request_seconds_bucket", (("le", bound), route)]
             for bound in (*map(str, BOUNDS_S), "+Inf")]  # fmt: skip
    assert below == sorted(below)
    assert below[-1] == found["bathkeeper_request_seconds_count", (route,)] == 3
    assert found["bathkeeper_request_seconds_sum", (route,)] > 0


def test_a_time_falls_into_the_first_bound_that_it_does_not_pass() -> None:
    measured = Measured()
    for seconds in (0.005, 0.0051, 99.0):
        measured.request("BREW", "/x", 200, seconds)
    assert measured.times["/x"].counts == [1, 1, *[0] * (len(BOUNDS_S) - 2), 1]
    assert measured.requests == {("other", "/x", 200): 3}


def test_ages_and_what_is_open_are_told(app: Any, tmp_path: Path) -> None:
    app.state.clock = lambda: NOW + timedelta(hours=2)
    found = read(monitor(app))
    assert ("bathkeeper_backup_age_seconds", ()) not in found
    back_up(tmp_path, tmp_path / "backups", NOW + timedelta(hours=1))
    found = read(monitor(app))
    assert found["bathkeeper_backup_age_seconds", ()] == 3600
    assert found["bathkeeper_oldest_estimate_age_seconds", ()] >= 7200
    assert found["bathkeeper_oldest_forecast_age_seconds", ()] == 7200
    assert found["bathkeeper_rooms", ()] == 1
    assert found["bathkeeper_waiting_entries", ()] == 0
    assert found["bathkeeper_live_pages", ()] == 0


def test_forecasts_that_are_due_are_told(app: Any) -> None:
    oldest = "bathkeeper_oldest_due_forecast_age_seconds", ()
    found = read(monitor(app))
    assert found["bathkeeper_due_forecasts", ()] == 0
    assert oldest not in found
    app.state.store.makes_forecasts_soon = True
    bring_in(app.state.store, ROOM, [wash(0.5, "t1"), wash(0.5, "t2")], NOW)
    app.state.clock = lambda: NOW + timedelta(seconds=7)
    found = read(monitor(app))
    assert found["bathkeeper_due_forecasts", ()] == 2
    assert found[oldest] == 7
    make_due(app.state.store)
    assert read(monitor(app))["bathkeeper_due_forecasts", ()] == 0


def test_open_pages_are_counted_while_they_listen() -> None:
    async def listened() -> list[int]:
        notices, found = Notices(), []
        streams = [notices.stream("a"), notices.stream("a"), notices.stream("b")]
        for stream in streams:
            await anext(stream)
            found.append(notices.listening)
        for stream in streams:
            await stream.aclose()
        return [*found, notices.listening]

    assert in_loop(listened()) == [1, 2, 3, 0]


def test_an_empty_site_has_metrics(tmp_path: Path) -> None:
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), clock=lambda: NOW)
    found = read(monitor(app))
    assert found["bathkeeper_rooms", ()] == 0
    assert found["bathkeeper_entries_total", ()] == 0
    app.state.store.close()


def test_no_name_of_the_room_is_in_them(app: Any) -> None:
    client = monitor(app)
    client.post(f"/api/v1/rooms/{ROOM}/entries", json=WASH)
    client.get(f"/rooms/{ROOM}/tanks/t1")
    text = client.get("/metrics").text
    with Session(app.state.store.reader) as session:
        names = {*session.exec(select(TankRow.key)), *session.exec(select(TankRow.name)),
                 *session.exec(select(ResinRow.key)), *session.exec(select(EntryRow.uid)),
                 ROOM, "Test room", "Quillfeather"}  # fmt: skip
    words = set(text.replace('"', " ").replace("/", " ").split())
    assert not names & words


def test_without_a_token_only_this_machine_reads_them(app: Any) -> None:
    assert monitor(app).get("/metrics").status_code == 200
    assert monitor(app, ("::1", 1)).get("/metrics").status_code == 200
    assert monitor(app, ELSEWHERE).get("/metrics").status_code == 404
    for passed_on in ("X-Forwarded-For", "X-Forwarded-Host", "X-Forwarded-Proto", "Via"):
        assert monitor(app).get("/metrics", headers={passed_on: "x"}).status_code == 404


def test_where_others_are_served_nobody_reads_them_without_a_token(tmp_path: Path) -> None:
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path, is_exposed=True), clock=lambda: NOW)
    assert monitor(app).get("/metrics").status_code == 404
    app.state.store.close()


@pytest.mark.parametrize("is_signing_in", [False, True])
def test_with_a_token_who_sends_it_reads_them(tmp_path: Path, is_signing_in: bool) -> None:
    prepare(tmp_path)
    settings = Settings(
        data_dir=tmp_path, is_exposed=True, metrics_token=TOKEN, sign_in=is_signing_in
    )
    app = create_app(settings, clock=lambda: NOW)
    client = monitor(app, ELSEWHERE)
    assert read(client, Authorization=f"Bearer {TOKEN}")
    for headers in ({}, {"Authorization": "Bearer other"}, {"Authorization": f"Basic {TOKEN}"}):
        answer = client.get("/metrics", headers=headers)
        assert answer.status_code == 401
        assert answer.headers["www-authenticate"].startswith("Bearer")
    app.state.store.close()


def test_a_token_that_is_too_short_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BATHKEEPER_METRICS_TOKEN", "short")
    with pytest.raises(DomainError, match="20 characters"):
        from_environment()
    monkeypatch.setenv("BATHKEEPER_METRICS_TOKEN", f" {TOKEN} ")
    assert from_environment().metrics_token == TOKEN
