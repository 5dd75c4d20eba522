"""A small room behind the API: two tanks, two resins, washes and readings of two weeks."""

import shutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient

from app.api.site import install
from app.config import Settings
from app.domain.roomlog.kinds import Entry, Reject
from app.services.door import bring_in as record
from app.store.engine import open_store
from app.store.photos import photos_at
from app.web.guard import Guard
from app.web.heads import Heads
from app.web.people.sessions import SignIn
from tests.clocks import Clock
from tests.connections import watched
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash
from tests.furnished import new_store

DATABASE = "bathkeeper.sqlite3"
BASE = f"/api/v1/rooms/{ROOM}"


@pytest.fixture(scope="session")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The database of the room, made once."""
    folder = tmp_path_factory.mktemp("room")
    store = new_store(folder)
    furnish(store, tanks=2)
    entries: list[Entry] = [
        wash(days=12 - number / 4, id=f"w{number}", by="Robin") for number in range(40)
    ]
    entries.append(sensor_reading(days=1, percent=5.0, id="m1"))
    entries.append(Reject(at=NOW - timedelta(days=2.2), id="x1", tank="t1", finding="tacky"))
    record(store, ROOM, entries, NOW)
    store.close()
    return folder / DATABASE


@pytest.fixture
def clock() -> Clock:
    """The application's clock."""
    return Clock()


def make_app(folder: Path, clock: Any) -> FastAPI:
    """The API on the database in a folder, behind the guard of all requests."""
    settings = Settings(data_dir=folder)
    application = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    application.state.settings = settings
    application.state.store = open_store(settings.url)
    application.state.photos = photos_at(settings)
    application.state.clock = clock
    application.state.sign_in = SignIn()
    install(application)
    application.add_middleware(Heads)
    application.add_middleware(Guard, settings=settings)
    return application


@pytest.fixture
def app(furnished: Path, tmp_path: Path, clock: Clock) -> Iterator[FastAPI]:
    """The whole application on a copy of the database."""
    shutil.copy(furnished, tmp_path / DATABASE)
    application = make_app(tmp_path, clock)
    yield application
    application.state.store.close()


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    """A program that speaks to the API."""
    with watched(app):
        client = TestClient(app, base_url="http://testserver", raise_server_exceptions=False)
        yield client
        client.close()
