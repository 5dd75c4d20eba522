"""A room that has seen something, and the address of each of its pages."""

import hashlib
import io
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

from fastapi.routing import APIRoute
from fastapi.testclient import TestClient

from app.config import Settings
from app.domain.roomlog.kinds import Reject, SwapStarted
from app.domain.roomlog.kinds.curing import Station
from app.domain.roomlog.kinds.incidents import Incident
from app.domain.roomlog.kinds.inspections import Component, InspectionPhoto, InspectionStarted
from app.domain.roomlog.kinds.instruments import InstrumentAdded, InstrumentSetAside
from app.domain.roomlog.kinds.part_lots import PartLot
from app.domain.roomlog.kinds.supplies import Item, LotHeld, OrderPlaced, StockReceived
from app.domain.roomlog.kinds.waste import Drum, PickupBooked, Pour
from app.main import create_app
from app.services.door import bring_in as record
from app.services.importing.storing import Origin, store_in_slices
from app.services.inspections.photos import keep
from app.store.photos import PhotoFolder
from app.web.kinds.places import PLACES, forms_at
from app.web.pages import PAGES
from tests.connections import watched
from tests.factories import NOW, ROOM, furnish, sensor_reading, wash
from tests.furnished import prepare
from tests.photos import photo

CONTENT = photo()
PHOTO = hashlib.sha256(CONTENT).hexdigest()
BASE = "/rooms/{room}"
STREAM = "/rooms/{room}/live"  # goes on for ever; the browser tests listen to it
VALUES = {
    "room": ROOM, "tank": "t1", "look": "full", "entry_id": "w1", "item": "gloves", "order": "o1",
    "drum": "d1", "pickup": "p1", "sort": "d", "key": "d1",
    "what": "spill", "incident": "i1", "duty": "interlock", "station": "s1", "resin": "slate",
    "inspection": "n1", "component": "c1", "photo": PHOTO, "size": "thumb",
    "run": "import-1", "instrument": "m1",
}  # fmt: skip


def page_paths() -> list[str]:
    """The path of each page, as the routers give it."""
    return [
        route.path
        for task in PAGES
        for route in task.router.routes
        if isinstance(route, APIRoute) and "GET" in route.methods and route.path != STREAM
    ]


ASKED = {"/lots/record.csv": "?lot=B-1", "/lots/recall.csv": "?reason=check+overdue"}
"""Files that are of something: what is asked for."""


def addresses(path: str, token: str) -> list[str]:
    """The addresses that a path stands for in the test's room."""
    place = next((one for one in PLACES if path == BASE + PLACES[one].forms), "")
    tasks = tuple(forms_at(place)) if place else ("",)
    asked = ASKED.get(path.removeprefix(BASE), "")
    return [path.format(**VALUES, task=task, token=token) + asked for task in tasks]


def visit_room(folder: Path) -> Iterator[TestClient]:
    """A browser without scripts on a room with washes, a reading, a reject and a swap under way."""
    prepare(folder)
    served = create_app(Settings(data_dir=folder), clock=lambda: NOW)
    furnish(served.state.store, tanks=3)
    entries = [wash(9 - i, id=f"w{i}") for i in range(8)]
    more = [
        sensor_reading(2, 3.0),
        Reject(at=NOW - timedelta(days=1), tank="t1", finding="tacky"),
        SwapStarted(at=NOW - timedelta(hours=1), tank="t2"),
        PartLot(at=NOW, lot="B-1", resin="slate"),
        InstrumentAdded(at=NOW, instrument="m1", name="Float 1", sort="hydrometer"),
        InstrumentAdded(at=NOW, instrument="m2", name="Float 2", sort="hydrometer"),
        InstrumentSetAside(at=NOW, instrument="m2", reason="The stem is cracked"),
        Item(at=NOW, item="gloves", name="Gloves", category="protection", unit="pair"),
        OrderPlaced(at=NOW, item="gloves", order="o1", quantity=50),
        StockReceived(at=NOW, item="gloves", quantity=10, lot="L1"),
        LotHeld(at=NOW, item="gloves", lot="L1", standing="quarantined", reason="Torn cuffs"),
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
    brought = Origin(VALUES["run"], name="washes.csv", by="Wren")
    store_in_slices(served.state.store, ROOM, [wash(10, id="w9")], brought, lambda: NOW)
    with (
        watched(served),
        TestClient(served, base_url="http://room.test", client=("127.0.0.1", 50_000)) as client,
    ):
        yield client
