"""The room page."""

import re
from datetime import timedelta

from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import SwapStarted
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, sensor_reading, wash


def test_it_works(client: TestClient) -> None:
    page = client.get("/")
    assert page.status_code == 200
    assert "T1" in page.text
    assert "T2" in page.text


def test_with_several_rooms_the_front_page_lists_them(client: TestClient, store: Store) -> None:
    add_room(store, RoomForm(name="Second room"), NOW)
    page = client.get("/")
    assert page.url.path == "/rooms"
    assert "Second room" in page.text
    assert client.get("/rooms/second-room").status_code == 200


def test_a_bath_past_its_limit_leads_the_queue(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(10 - i * 0.1, "t2", area_cm2=9000.0) for i in range(60)], NOW)
    record(store, ROOM, [sensor_reading(9.95, 0.5, "t2")], NOW)
    page = client.get(f"/rooms/{ROOM}").text
    assert "over the limit" in page
    assert re.search(r'class="tank need-row tank-(over|stop)" href="[^"]*/t2"', page)
    assert page.index("/tanks/t2") < page.index("/tanks/t1")


def test_a_started_swap_shows(client: TestClient, store: Store) -> None:
    record(store, ROOM, [SwapStarted(at=NOW - timedelta(hours=1), tank="t1")], NOW)
    page = client.get(f"/rooms/{ROOM}").text
    assert "1 being swapped" in page
    assert "Finish the swap" in page


def test_an_unchanged_room_is_not_sent_again(client: TestClient, store: Store) -> None:
    etag = client.get(f"/rooms/{ROOM}").headers["etag"]
    assert client.get(f"/rooms/{ROOM}", headers={"If-None-Match": etag}).status_code == 304
    record(store, ROOM, [wash(1)], NOW)
    assert client.get(f"/rooms/{ROOM}", headers={"If-None-Match": etag}).status_code == 200


def test_a_fragment_is_the_board_alone(client: TestClient) -> None:
    page = client.get(f"/rooms/{ROOM}", headers={"HX-Request": "true"})
    assert page.status_code == 200
    assert "<html" not in page.text
    assert "T1" in page.text


def test_an_unknown_room_is_not_found_in_words(client: TestClient) -> None:
    page = client.get("/rooms/nowhere")
    assert page.status_code == 404
    assert "There is no room" in page.text


def test_an_empty_room_says_what_to_do_first(client: TestClient, store: Store) -> None:
    add_room(store, RoomForm(name="Empty", key="empty"), NOW)
    assert "first tank" in client.get("/rooms/empty").text


def test_names_are_shown_as_text(client: TestClient, store: Store) -> None:
    add_room(store, RoomForm(name="<script>alert(1)</script>", key="odd"), NOW)
    assert "<script>alert(1)" not in client.get("/rooms/odd").text
