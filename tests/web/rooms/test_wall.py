"""The room for a screen on the wall."""

from datetime import timedelta

from fastapi.testclient import TestClient

from app.domain.roomlog.kinds import SwapStarted
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM

WALL = f"/rooms/{ROOM}/wall"


def test_it_says_how_many_need_somebody_and_what_to_do(client: TestClient, store: Store) -> None:
    record(store, ROOM, [SwapStarted(at=NOW - timedelta(hours=1), tank="t1")], NOW)
    page = client.get(WALL).text
    assert "1 of 2 need you" in page
    assert '<p class="wall-act">Finish</p>' in page
    assert page.index('id="tank-t1"') < page.index('id="tank-t2"')


def test_it_has_no_controls(client: TestClient) -> None:
    page = client.get(WALL).text
    wall = page.partition('id="wall"')[2].partition("</main>")[0]
    assert [tag for tag in ("<a ", "<button", "<form", "<input") if tag in wall] == []
    assert "site-nav" not in page


def test_a_fragment_is_the_drawing_alone(client: TestClient) -> None:
    page = client.get(WALL, headers={"HX-Request": "true"}).text
    assert "<html" not in page
    assert "data-version=" in page


def test_an_empty_room_says_so(client: TestClient, store: Store) -> None:
    add_room(store, RoomForm(name="Empty", key="empty"), NOW)
    page = client.get("/rooms/empty/wall")
    assert page.status_code == 200
    assert "No tank yet" in page.text
