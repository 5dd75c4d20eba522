"""Open problems on the room page and on the wall: there until a lead closes them."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient

from app.domain.roomlog.kinds.incidents import Incident, IncidentClosed
from app.domain.roomlog.kinds.site import CrewMember
from app.services.acts.rooms import RoomForm, add_room
from app.services.door import bring_in as record
from app.store.engine import Store
from tests.factories import NOW, ROOM, START

AT = f"/rooms/{ROOM}"
PAGES = (AT, f"{AT}/wall")
FIRE = Incident(
    at=NOW - timedelta(minutes=20), incident="i1", problem="fire", done="Paper towels burned",
    by="Wren",
)  # fmt: skip
LEAK = Incident(at=NOW - timedelta(minutes=10), incident="i2", problem="leak", tank="t1", by="Wren")


@pytest.fixture
def room(client: TestClient, store: Store) -> TestClient:
    record(store, ROOM, [CrewMember(at=START, crew="crew", name="Curlew", role="lead")], NOW)
    return client


def test_none_is_shown_where_none_is_open(room: TestClient) -> None:
    for page in PAGES:
        assert 'id="problem-' not in room.get(page).text
        assert "open problem" not in room.get(page).text


def test_a_fire_without_a_place_stands_first(room: TestClient, store: Store) -> None:
    record(store, ROOM, [FIRE], NOW)
    page = room.get(AT).text
    assert '<p class="headline-needs">1 open problem</p>' in page
    assert "All calm" not in page
    board = page.partition('id="board"')[2]
    assert "Fire or smoke" in board
    assert "open since" in board
    assert "Paper towels burned" in board
    assert board.index(f'href="{AT}/incidents/i1"') < board.index('id="tank-t1"')


def test_the_worst_stands_before_the_latest(room: TestClient, store: Store) -> None:
    record(store, ROOM, [FIRE, LEAK], NOW)
    for page in PAGES:
        text = room.get(page).text
        assert text.index('id="problem-i1"') < text.index('id="problem-i2"')
    board = room.get(AT).text
    assert "2 open problems" in board
    assert "T1" in board.partition('id="problem-i2"')[2].partition("</li>")[0]


def test_a_wall_with_an_open_problem_is_not_calm(room: TestClient, store: Store) -> None:
    record(store, ROOM, [FIRE], NOW)
    wall = room.get(f"{AT}/wall").text
    assert "<h1>1 open problem</h1>" in wall
    assert "Fire or smoke" in wall
    assert "All calm" not in wall


def test_many_are_counted_and_all_of_them_are_one_touch_away(
    room: TestClient, store: Store
) -> None:
    at = NOW - timedelta(minutes=5)
    record(store, ROOM, [
        Incident(at=at, incident=f"n{index}", problem="near_miss", people="Wren", by="Wren")
        for index in range(6)
    ], NOW)  # fmt: skip
    board = room.get(AT).text
    assert board.count('id="problem-') == 3
    assert "3 more open problems" in board
    wall = room.get(f"{AT}/wall").text
    assert wall.count('id="problem-') == 2
    assert "4 more" in wall


def test_a_closed_one_is_gone(room: TestClient, store: Store) -> None:
    record(store, ROOM, [
        FIRE,
        IncidentClosed(at=NOW, incident="i1", lead="Curlew", reason="Out", by="Curlew"),
    ], NOW)  # fmt: skip
    for page in PAGES:
        assert "Fire or smoke" not in room.get(page).text


def test_a_room_without_a_tank_shows_it_as_well(client: TestClient, store: Store) -> None:
    add_room(store, RoomForm(name="Empty", key="empty"), NOW)
    record(store, "empty", [FIRE], NOW)
    for page in ("/rooms/empty", "/rooms/empty/wall"):
        assert "Fire or smoke" in client.get(page).text
