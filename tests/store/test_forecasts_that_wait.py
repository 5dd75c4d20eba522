"""Forecasts of programs that serve: within a second, after a kill at the next start, once."""

import http.client
import json
import time
import uuid
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from sqlmodel import Session, select

from app.clock import utc_now
from app.services.baths.forecasts import forecast_of, take_forecast
from app.services.baths.states import baths_of
from app.services.rooms import find_room
from app.services.verifying import verify
from app.store.engine import Store, open_store
from app.store.instants import from_us
from app.store.migrations import upgrade
from app.store.tables import EntryRow, TankRow
from tests.factories import ROOM, believe_clock, furnish
from tests.furnished import new_store
from tests.postgres import temporary_database
from tests.running import RunningServer, start_server

HERE = ["sqlite", pytest.param("postgres", marks=pytest.mark.postgres)]
WITHIN_S = 10.0  # on a machine that is busy with other tests; by itself it takes a third of one
KILLS_TRIED = 12


class Place:
    """A furnished database and the servers on it."""

    def __init__(self, url: str, folder: Path) -> None:
        self.url, self.folder = url, folder
        self.running: list[RunningServer] = []

    def serve(self) -> RunningServer:
        variables = {"BATHKEEPER_DATABASE": self.url} if "postgresql" in self.url else {}
        self.running.append(start_server("serve", data_dir=self.folder, variables=variables))
        return self.running[-1]

    def open(self) -> Store:
        return open_store(self.url)


@pytest.fixture(params=HERE)
def place(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Place]:
    if request.param == "sqlite":
        store = new_store(tmp_path)
        yield from _furnished(store, Place(str(store.writer.url), tmp_path))
        return
    server = request.getfixturevalue("postgres_server")
    with temporary_database(server) as url:
        store = open_store(url)
        upgrade(store)
        yield from _furnished(store, Place(url, tmp_path))


def _furnished(store: Store, place: Place) -> Iterator[Place]:
    furnish(store, tanks=2)
    believe_clock(store, utc_now())
    store.close()
    try:
        yield place
    finally:
        for server in place.running:
            server.stop()


def wash(server: RunningServer, tank: str = "t1") -> str:
    """Log a wash; its id."""
    connection = http.client.HTTPConnection(urlsplit(server.url).netloc, timeout=30)
    body = {"kind": "wash", "tank": tank, "resin": "slate", "area_cm2": 900.0}
    headers = {"Content-Type": "application/json", "Idempotency-Key": uuid.uuid4().hex}
    connection.request("POST", f"/api/v1/rooms/{ROOM}/entries", json.dumps(body), headers)
    answer = connection.getresponse()
    said = json.loads(answer.read())
    connection.close()
    assert answer.status == 201, said
    return str(said["ids"][0])


def rows_of(store: Store) -> dict[str, TankRow]:
    with Session(store.reader) as session:
        return {row.key: row for row in session.exec(select(TankRow))}


def is_due(store: Store, tank: str = "t1") -> bool:
    return rows_of(store)[tank].forecast_due_us is not None


def soon(what: Callable[[], bool]) -> bool:
    """Whether something comes true in time."""
    give_up_at_s = time.monotonic() + WITHIN_S
    while not what():
        if time.monotonic() > give_up_at_s:
            return False
        time.sleep(0.02)
    return True


def made_anew(store: Store, tank: str) -> dict[str, Any]:
    """The row of a tank with the forecast of the state that is kept."""
    with Session(store.reader) as session:
        room = find_room(session, ROOM)
        run = baths_of(room).head(session, room.id or 0, ("baths", ""))
        [row] = session.exec(select(TankRow).where(TankRow.key == tank))
        now = from_us(max(room.last_recorded_us or 0, run.place.moment_us))
        take_forecast(row, forecast_of(room, run, tank, now), now)
        return row.model_dump()


def test_a_server_makes_it_after_the_answer(place: Place) -> None:
    server, store = place.serve(), place.open()
    before = rows_of(store)["t1"].forecast_at_us
    wash(server)
    assert soon(lambda: not is_due(store))
    found = rows_of(store)["t1"]
    assert found.forecast_at_us > before
    assert found.model_dump() == made_anew(store, "t1")
    store.close()


@pytest.mark.slow
def test_a_server_that_is_killed_before_it_leaves_the_entry_and_the_note(place: Place) -> None:
    """The acknowledged entry stands, and the next start makes the forecast."""
    acknowledged, found_due = [], 0
    for _ in range(KILLS_TRIED):
        server = place.serve()
        acknowledged.append(wash(server))
        server.process.kill()
        server.process.wait()
        store = place.open()
        found_due += is_due(store)
        store.close()
        if found_due:
            break
    assert found_due, "no kill came before the forecast"
    place.serve()
    store = place.open()
    assert soon(lambda: not is_due(store))
    assert rows_of(store)["t1"].model_dump() == made_anew(store, "t1")
    with Session(store.reader) as session:
        assert set(acknowledged) <= set(session.exec(select(EntryRow.uid)))
        assert not verify(session, find_room(session, ROOM)).wrong
    store.close()


@pytest.mark.slow
def test_a_server_that_is_stopped_leaves_none_or_a_note(place: Place) -> None:
    server = place.serve()
    wash(server)
    server.stop()
    assert "Work in the background failed" not in server.log.read_text()
    place.serve()
    store = place.open()
    assert soon(lambda: not is_due(store))
    store.close()


@pytest.mark.slow
@pytest.mark.postgres
@pytest.mark.parametrize("place", ["postgres"], indirect=True)
def test_two_servers_make_each_forecast_once(place: Place) -> None:
    pair, store = (place.serve(), place.serve()), place.open()
    assert soon(lambda: not is_due(store))

    def made() -> int:
        with Session(store.reader) as session:
            return find_room(session, ROOM).forecasts

    before = made()
    for number in range(8):
        tank = f"t{1 + number % 2}"
        wash(pair[number % 2], tank)
        assert soon(lambda tank=tank: not is_due(store, tank))  # type: ignore[misc]
    time.sleep(1)
    assert made() - before == 8
    assert rows_of(store)["t2"].model_dump() == made_anew(store, "t2")
    store.close()
