"""The rooms that the browser tests visit."""

import shutil
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any
from urllib.request import urlopen

import pytest

from tests.browser.rooms import furnish_rooms
from tests.browser.tablets import Place, serve_tanks
from tests.furnished import made_once
from tests.gaps import Line
from tests.running import RunningServer

Serve = Callable[..., RunningServer]
SLOWEST_LOADING_S = 150


@pytest.fixture(scope="module")
def demo_server(serve: Serve, tmp_path_factory: pytest.TempPathFactory) -> Iterator[RunningServer]:
    """A server of the demo room for the tests of one file: each test minds its own tank.

    The room is loaded once, as a user would, and copied: what one file stores, no other file sees,
    whichever of them a worker takes first.
    """
    variables = {"BATHKEEPER_HOSTS": "room.test"}  # a name that the tests' browser takes here

    def load(folder: Path) -> None:
        serve("demo", data_dir=folder, within_s=SLOWEST_LOADING_S).stop()

    data_dir = tmp_path_factory.mktemp("demo") / "data"
    shutil.copytree(made_once("demo-served", load), data_dir)
    server = serve("demo", data_dir=data_dir, within_s=SLOWEST_LOADING_S, variables=variables)
    with urlopen(f"{server.url}/rooms", timeout=SLOWEST_LOADING_S) as answer:
        assert answer.status == 200
    yield server
    server.stop()
    shutil.rmtree(data_dir)


@pytest.fixture(scope="module")
def demo(demo_server: RunningServer) -> str:
    """Address of the demo room's page."""
    return f"{demo_server.url}/rooms/larkmoor"


@pytest.fixture(scope="session")
def rooms(serve: Serve, tmp_path_factory: pytest.TempPathFactory) -> str:
    """Address of a list of rooms `room-1`, `room-6`, `room-24`, `room-60` with so many tanks."""
    folder = tmp_path_factory.mktemp("rooms")
    furnish_rooms(folder)
    server = serve("serve", data_dir=folder)
    return f"{server.url}/rooms"


@pytest.fixture
def tablet(new_page: Any) -> Any:
    """An empty page of a tablet that is touched, not clicked."""
    return new_page(has_touch=True)


@pytest.fixture(scope="module")
def places(serve: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Place]:
    """One tank after the other."""
    return serve_tanks(serve, tmp_path_factory.mktemp("tanks"))


@pytest.fixture
def place(places: Iterator[Place]) -> Place:
    """A tank of the test's own."""
    return next(places)


@pytest.fixture
def line(place: Place, page: Any, console_errors: list[str]) -> Iterator[Line]:
    """A line to that server, for the page."""
    made = Line(int(place.server.url.rpartition(":")[2]))
    yield made
    made.close()
    page.goto("about:blank")
    console_errors.clear()  # the browser tells of each request that was not answered
