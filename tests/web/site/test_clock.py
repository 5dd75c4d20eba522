"""A server whose date may be wrong: it asks before it stores, and it says so on every page."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.config import Settings
from app.main import create_app
from app.store.tables import EntryRow
from tests.factories import NOW, ROOM, furnish
from tests.furnished import prepare

AT = f"/rooms/{ROOM}"
WASH = {"resin": "slate", "parts": "3", "by": "Wren"}


class Hands:
    """Both clocks of a server, as somebody sets them."""

    def __init__(self) -> None:
        self.now, self.steady_s = NOW, 0.0

    def pass_(self, time: timedelta) -> None:
        """Time passes; both clocks count it."""
        self.now += time
        self.steady_s += time.total_seconds()


@pytest.fixture
def hands() -> Hands:
    return Hands()


@pytest.fixture
def client(tmp_path: Path, hands: Hands) -> Iterator[TestClient]:
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), lambda: hands.now, lambda: hands.steady_s)
    furnish(app.state.store, tanks=2)
    with TestClient(app, base_url="http://room.test") as client:
        yield client


@pytest.fixture
def kinds(client: TestClient) -> Callable[[], list[str]]:
    def stored() -> list[str]:
        with Session(client.app.state.store.reader) as session:  # type: ignore[attr-defined]
            rows = session.exec(select(EntryRow.kind).order_by(EntryRow.id))  # type: ignore[arg-type]
            return [kind for kind in rows if kind not in ("tank", "resin")]

    return stored


@pytest.mark.parametrize(
    "way", [timedelta(days=365), timedelta(days=46), -timedelta(minutes=16), -timedelta(days=20000)]
)
def test_nothing_is_stored_under_a_date_that_cannot_be(
    client: TestClient, hands: Hands, kinds: Callable[[], list[str]], way: timedelta
) -> None:
    hands.now += way
    answer = client.post(f"{AT}/tanks/t1/log/wash", data=WASH)
    assert answer.status_code == 409
    assert "date may be wrong. Check it on the room page first" in answer.text
    line = {"kind": "wash", "at": NOW.isoformat(), "tank": "t1", "resin": "slate", "parts": 3}
    problem = client.post(f"/api/v1/rooms/{ROOM}/entries", json=line)
    assert problem.status_code == 409
    assert "may be wrong" in problem.json()["detail"]
    assert kinds() == []


@pytest.mark.parametrize("page", ["", "/tanks/t1", "/log", "/waste", "/spend", "/clock"])
def test_every_page_asks(client: TestClient, hands: Hands, page: str) -> None:
    assert "Is it " not in client.get(f"{AT}{page}").text
    hands.now += timedelta(days=365)
    text = client.get(f"{AT}{page}").text
    assert "Is it Tue 2 Mar 2027 12:00?" in text
    assert "Mon 2 Mar 2026 12:00" in text


def test_somebody_who_has_looked_is_believed_and_named(
    client: TestClient, hands: Hands, kinds: Callable[[], list[str]]
) -> None:
    hands.now += timedelta(days=365)
    page = client.post(f"{AT}/clock", data={"by": "Wren"})
    assert page.url.path == AT
    assert "Is it " not in page.text
    assert client.post(f"{AT}/tanks/t1/log/wash", data=WASH).status_code == 200
    assert kinds() == ["clock_confirmed", "wash"]
    assert "Date and time confirmed" in client.get(f"{AT}/log").text


def test_a_program_says_that_the_date_is_right(client: TestClient, hands: Hands) -> None:
    hands.now += timedelta(days=365)
    line = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3}
    api = f"/api/v1/rooms/{ROOM}/entries"
    assert client.post(api, json=line).status_code == 409
    assert client.post(api, json={"kind": "clock_confirmed", "site": "site"}).status_code == 201
    assert client.post(api, json=line).status_code == 201


def test_a_clock_set_right_is_asked_about_no_more(client: TestClient, hands: Hands) -> None:
    hands.now += timedelta(days=365)
    assert "Is it " in client.get(AT).text
    hands.now -= timedelta(days=365)
    assert "Is it " not in client.get(AT).text
    assert client.post(f"{AT}/tanks/t1/log/wash", data=WASH).status_code == 200


def test_a_danger_is_reported_and_a_tank_held_without_a_look_at_the_clock(
    client: TestClient, hands: Hands, kinds: Callable[[], list[str]]
) -> None:
    hands.now += timedelta(days=365)
    held = client.post(f"{AT}/tanks/t1/hold", data={"by": "Wren", "reason": "It leaks"})
    assert held.status_code == 200, held.text
    assert "tank_held" in kinds()
    hands.now += timedelta(days=365)
    lifted = client.post(f"{AT}/tanks/t1/hold/release", data={"by": "Wren", "reason": "Dry"})
    assert lifted.status_code == 409


@pytest.mark.parametrize("days", [1, 44])
def test_a_room_that_rested_is_not_asked(client: TestClient, hands: Hands, days: int) -> None:
    hands.pass_(timedelta(days=days))
    assert client.post(f"{AT}/tanks/t1/log/wash", data=WASH).status_code == 200


def test_a_clock_that_jumps_while_it_runs_is_said_until_somebody_looked(
    client: TestClient, hands: Hands
) -> None:
    hands.pass_(timedelta(hours=3))
    assert "The clock was moved" not in client.get(AT).text
    hands.now += timedelta(hours=2, minutes=5)
    assert "The clock was moved forward by 2 h 5 min." in client.get(AT).text
    assert client.post(f"{AT}/tanks/t1/log/wash", data=WASH).status_code == 200
    page = client.post(f"{AT}/clock", data={"by": "Wren"})
    assert "The clock was moved" not in page.text
    hands.now -= timedelta(minutes=5)
    assert "The clock was moved back by 5 min." in client.get(AT).text


def test_small_steps_of_a_clock_that_is_kept_in_step_are_not_said(
    client: TestClient, hands: Hands
) -> None:
    hands.now += timedelta(seconds=90)
    assert "The clock was moved" not in client.get(AT).text


def archive(client: TestClient) -> str:
    """The room goes out of use; its name."""
    name: str = client.get(f"/api/v1/rooms/{ROOM}").json()["name"]
    page = client.post(f"{AT}/archive", data={"room_name": name, "reason": "Moved"})
    assert f"Restore {name}" in page.text
    return name


def test_an_archived_room_logs_nothing_so_its_silence_casts_no_doubt(
    client: TestClient, hands: Hands
) -> None:
    archive(client)
    hands.pass_(timedelta(days=200))
    for page in ("", "/archive", "/delete", "/log"):
        assert "Is it " not in client.get(f"{AT}{page}").text
    page = client.post(f"{AT}/archive", data={"word": "restore"})
    assert page.status_code == 200, page.text
    assert client.post(f"{AT}/tanks/t1/log/wash", data=WASH).status_code == 200


def test_an_archived_room_that_rested_is_restored_by_a_program(
    client: TestClient, hands: Hands
) -> None:
    archive(client)
    hands.pass_(timedelta(days=200))
    back = {"kind": "room_restored", "archive": "archive"}
    answer = client.post(f"/api/v1/rooms/{ROOM}/entries", json=back)
    assert answer.status_code == 201, answer.text


def test_an_archived_room_that_rested_is_deleted_by_its_page(
    client: TestClient, hands: Hands
) -> None:
    name = archive(client)
    hands.pass_(timedelta(days=200))
    page = client.post(f"{AT}/delete", data={"room_name": name, "manager": "Wren", "by": "Wren"})
    assert page.status_code == 200, page.text
    assert page.url.path == "/rooms"
    assert client.get(AT).status_code == 404


@pytest.mark.parametrize("door", ["page", "program"])
def test_a_clock_behind_an_archived_room_is_asked_about_and_can_be_answered(
    client: TestClient, hands: Hands, door: str
) -> None:
    archive(client)
    hands.now -= timedelta(days=3)
    assert "Is it " in client.get(f"{AT}/archive").text
    assert client.post(f"{AT}/archive", data={"word": "restore"}).status_code == 409
    if door == "page":
        assert client.post(f"{AT}/clock", data={"by": "Wren"}).status_code == 200
    else:
        word = {"kind": "clock_confirmed", "site": "site"}
        assert client.post(f"/api/v1/rooms/{ROOM}/entries", json=word).status_code == 201
    assert client.post(f"{AT}/archive", data={"word": "restore"}).status_code == 200
