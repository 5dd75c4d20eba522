"""Three looks on their pages: while full, empty, refilled."""

import re

from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.inspections import Component
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START
from tests.photos import photo
from tests.web.inspections.looking import AT, inspection, pictures


def start(room: TestClient, look: str) -> str:
    sent = {"by": "Wren", "submission": "s2" * 8, "look": look}
    answer = room.post(f"{AT}/tanks/t1/inspection", data=sent)
    assert answer.status_code == 200
    return str(answer.url.path)


def test_a_look_while_full_asks_of_the_parts_that_show_something_then(
    room: TestClient, store: Store
) -> None:
    page = room.get(f"{AT}/tanks/t1/inspection").text
    for title in ("Start: while full", "Start: empty", "Start: refilled"):
        assert title in page
    at = start(room, "full")
    assert [look.part for look in inspection(store).looks] == ["impeller", "shaft_seal"]
    assert "while full</h1>" in room.get(at).text
    step = room.get(f"{at}/parts/t1-shaft_seal-1").text
    assert re.findall(r'name="(\w+)" value="yes"', step) == ["seal_drop"]


def test_a_photo_is_labelled_by_the_look_that_asked_for_it(room: TestClient) -> None:
    at = start(room, "full")
    sent = {"seal_drop": "yes", "by": "Wren", "view": "close"}
    files = pictures(photo("jpg", 1))
    page = room.post(f"{at}/parts/t1-shaft_seal-1", data=sent, files=files).text
    assert "Take out of service" in page
    assert "Close-up, while full" in page
    entries = room.get(f"/api/v1{AT}/entries?kind=inspection_photo").json()
    assert [one["entry"]["look"] for one in entries["entries"]] == ["full"]


def test_a_tank_whose_parts_show_nothing_then_is_not_looked_at(
    room: TestClient, store: Store
) -> None:
    washer = Component(at=START, component="t2-washer-1", part="washer", name="Washer", tank="t2")
    record(store, ROOM, [washer], NOW)
    sent = {"by": "Wren", "submission": "s3" * 8, "look": "full"}
    answer = room.post(f"{AT}/tanks/t2/inspection", data=sent)
    assert answer.status_code == 422
    assert "No part here shows anything while full." in answer.text
    assert "Start: while full" not in answer.text


def test_a_program_says_at_which_look_it_answers(room: TestClient, store: Store) -> None:
    at = start(room, "full")
    key = at.rpartition("/")[2]
    sent = {
        "kind": "inspection_answered", "inspection": key, "component": "t1-shaft_seal-1",
        "answers": {"seal_drop": "no"},
    }  # fmt: skip
    refused = room.post(f"/api/v1{AT}/entries", json=sent)
    assert refused.status_code == 422
    assert "Send “full” as its look" in refused.json()["errors"][0]["message"]
    stored = room.post(f"/api/v1{AT}/entries", json=sent | {"look": "full"})
    assert stored.status_code == 201
    assert inspection(store).look("t1-shaft_seal-1").verdict == "serviceable"
