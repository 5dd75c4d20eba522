"""Every page is put in its place, and every page answers on a room that has seen something."""

import hashlib
import importlib
import io
import pkgutil
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

import app.web
from app.config import Settings
from app.domain.roomlog.kinds import Reject, SwapStarted
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.inspections import Component, InspectionPhoto, InspectionStarted
from app.domain.roomlog.kinds.supplies import Item, OrderPlaced
from app.domain.roomlog.kinds.waste import Drum, PickupBooked, Pour
from app.main import create_app
from app.services.inspections.photos import keep
from app.services.roomlog import record
from app.store.photos import PhotoFolder
from app.web.pages import PAGES
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash
from tests.photos import photo

CONTENT = photo()
PHOTO = hashlib.sha256(CONTENT).hexdigest()
STREAM = "/rooms/{room}/live"  # goes on for ever; the browser tests listen to it
VALUES = {
    "room": ROOM, "tank": "t1", "entry_id": "w1", "item": "gloves", "move": "use", "order": "o1",
    "drum": "d1", "pickup": "p1", "sort": "d", "key": "d1",
    "what": "spill", "incident": "i1", "duty": "interlock", "station": "s1", "resin": "slate",
    "inspection": "n1", "component": "c1", "photo": PHOTO, "size": "thumb",
}  # fmt: skip
STATION_TASKS = ("reading", "hours", "relamp")
TASKS = ("wash", "reading", "top-up", "removal", "solids", "reject", "plan")


@pytest.fixture(scope="module")
def client(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A browser without scripts on a room with washes, a reading, a reject and a swap under way."""
    served = create_app(Settings(data_dir=tmp_path_factory.mktemp("pages")), clock=lambda: NOW)
    furnish(served.state.store, tanks=3)
    entries = [wash(9 - i, id=f"w{i}") for i in range(8)]
    more = [
        sensor_reading(2, 3.0),
        Reject(at=NOW - timedelta(days=1), tank="t1", finding="tacky"),
        SwapStarted(at=NOW - timedelta(hours=1), tank="t2"),
        Item(at=NOW, item="gloves", name="Gloves", category="protection", unit="pair"),
        OrderPlaced(at=NOW, item="gloves", order="o1", quantity=50),
        Drum(
            at=NOW,
            drum="d1",
            name="Drum 1",
            capacity_l=200,
            stream="isopropanol_resin",
            area="central",
        ),
        Pour(at=NOW, drum="d1", tank="t1", volume_l=40),
        Incident(at=NOW, incident="i1", problem="spill", tank="t1"),
        Station(
            at=NOW,
            station="s1",
            name="Station 1",
            source="led",
            wavelength_nm=405,
            layout="centre",
        ),
        PickupBooked(at=NOW, pickup="p1", drums=["d1"], pickup_on=NOW.date(), hauler="Marl Waste"),
    ]
    position: dict[str, str] = {"component": "c1", "part": "washer", "name": "Washer 1"}
    more += [
        Component(at=NOW, tank="t1", fitted_at=NOW - timedelta(days=9), **position),
        InspectionStarted(at=NOW, inspection="n1", tank="t1", positions=[position]),
        InspectionPhoto(at=NOW, inspection="n1", component="c1", photo=PHOTO, view="close"),
    ]
    keep(PhotoFolder(served.state.settings.data_dir), io.BytesIO(CONTENT))
    record(served.state.store, ROOM, [*entries, *more], NOW)
    with TestClient(served, base_url="http://room.test") as client:
        yield client


def page_paths() -> list[str]:
    """The path of each page, as the routers give it."""
    return [
        route.path
        for task in PAGES
        for route in task.router.routes
        if isinstance(route, APIRoute) and "GET" in route.methods and route.path != STREAM
    ]


def addresses(path: str, token: str) -> list[str]:
    """The addresses that a path stands for in the test's room."""
    tasks = ("",)
    if "{task}" in path:
        tasks = STATION_TASKS if "{station}" in path else TASKS
    return [path.format(**VALUES, task=task, token=token) for task in tasks]


def test_every_router_is_listed() -> None:
    for module in pkgutil.walk_packages(app.web.__path__, "app.web."):
        loaded = importlib.import_module(module.name)
        if hasattr(loaded, "router"):
            assert loaded in PAGES, f"{module.name} has pages that nobody can open"


def test_there_are_pages() -> None:
    assert {"/", STREAM.removesuffix("/live"), "/rooms/{room}/tanks/{tank}"} <= set(page_paths())


@pytest.fixture(scope="module")
def token(client: TestClient) -> str:
    """The token of a file that was handed in for import."""
    line = '{"kind":"wash","at":"2026-03-01T08:00:00Z","tank":"t1","resin":"slate","parts":3}\n'
    page = client.post(f"/rooms/{ROOM}/import", files={"log": ("log.jsonl", line)})
    return page.url.path.rsplit("/", 1)[1]


@pytest.mark.parametrize("path", page_paths())
def test_it_answers(client: TestClient, path: str, token: str) -> None:
    for address in addresses(path, token):
        answer = client.get(address)
        assert answer.status_code == 200, address
        assert "default-src 'self'" in answer.headers["content-security-policy"]
        assert answer.text, address


@pytest.mark.parametrize("path", [path for path in page_paths() if "{" in path])
def test_it_says_so_where_there_is_nothing(client: TestClient, path: str) -> None:
    names = {"room": "nowhere", "tank": "none", "entry_id": "none", "task": "none", "token": "none"}
    names |= dict.fromkeys(("what", "incident", "duty", "station", "resin"), "none")
    names |= dict.fromkeys(("inspection", "component", "photo", "size"), "none")
    names |= dict.fromkeys(("item", "move", "order", "drum", "pickup", "sort", "key"), "none")
    answer = client.get(path.format(**names))
    assert answer.status_code == 404
    assert "default-src 'self'" in answer.headers["content-security-policy"]


def test_every_style_sheet_and_script_of_ours_is_loaded_by_the_pages(client: TestClient) -> None:
    page = client.get("/rooms").text
    static = Path(__file__).parent.parent.parent / "static"
    for file in [*static.glob("css/*.css"), *static.glob("js/*.js")]:
        assert f"/static/{file.parent.name}/{file.name}" in page, file.name
