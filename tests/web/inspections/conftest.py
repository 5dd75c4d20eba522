"""A room whose parts are set up, and an inspection that was just started."""

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.site import CrewMember
from app.domain.roomlog.kinds.supplies import Item, StockReceived
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.web.inspections.looking import AT, PARTS


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    """With a lead, washers on the shelf, and the parts of tank t1 set up."""
    record(store, ROOM, [
        CrewMember(at=START, crew="crew", name="Curlew", role="lead"),
        CrewMember(at=START, crew="crew", name="Dunlin", role="technician"),
        Item(at=START, item="washer", name="Lobed washer", category="part", unit="piece"),
        StockReceived(at=START, item="washer", quantity=3.0, lot="W7"),
    ], NOW)  # fmt: skip
    assert client.post(f"{AT}/tanks/t1/parts", data=PARTS).status_code == 200
    return client


@pytest.fixture
def at(room: TestClient) -> str:
    """Address of an inspection of t1 that was just started."""
    answer = room.post(f"{AT}/tanks/t1/inspection", data={"by": "Wren", "submission": "s1" * 8})
    assert answer.status_code == 200
    return answer.url.path
