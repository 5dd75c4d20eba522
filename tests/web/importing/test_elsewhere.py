"""A file that one server reads or stores, as another server on the same database shows it."""

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.config import Settings
from app.main import create_app
from app.store.engine import Store, open_store
from app.store.import_jobs import told_job
from app.web.importing import jobs
from app.web.importing.jobs import Job
from tests.factories import NOW, ROOM, furnish
from tests.web.importing.test_importing import line, settled, uploaded

pytestmark = pytest.mark.postgres
FILE = "\n".join(line(12 - number / 10, id=f"w{number}") for number in range(40))


class Gate:
    """Holds the first server's import where it says a phase, until it is let go."""

    def __init__(self) -> None:
        self.phase, self.is_held, self.is_open = "", threading.Event(), threading.Event()


@pytest.fixture
def gate(monkeypatch: pytest.MonkeyPatch) -> Iterator[Gate]:
    """The gate of every import of the first server; each word of progress is told at once."""
    gate, told = Gate(), jobs.tell_job

    def tell(store: Store, token: str, owner: str, now: object, **said: object) -> bool:
        answer = told(store, token, owner, now, **said)  # type: ignore[arg-type]
        if said["phase"] == gate.phase and said["done"] and not gate.is_open.is_set():
            gate.is_held.set()
            assert gate.is_open.wait(30)
            answer = told(store, token, owner, now, **said)  # type: ignore[arg-type]
        return answer

    monkeypatch.setattr(jobs, "tell_job", tell)
    monkeypatch.setattr(jobs, "TOLD_EVERY_S", 0.0)
    monkeypatch.setattr("app.services.importing.importing.PROGRESS_EVERY", 5)
    monkeypatch.setattr("app.services.importing.storing.SLICE", 10)
    yield gate
    gate.is_open.set()
    for thread in threading.enumerate():
        if thread.name.startswith("import "):
            thread.join(30)


@pytest.fixture
def pair(postgres_store: Store, tmp_path: Path) -> Iterator[tuple[TestClient, TestClient]]:
    """Browsers at two servers on one database and one folder."""
    furnish(postgres_store, tanks=2)
    url = postgres_store.writer.url.render_as_string(hide_password=False)
    other = open_store(url)
    settings = Settings(data_dir=tmp_path, database_url=url)
    with (
        TestClient(
            create_app(settings, clock=lambda: NOW, store=postgres_store),
            base_url="http://room.test",
        ) as one,
        TestClient(
            create_app(settings, clock=lambda: NOW, store=other), base_url="http://room.test"
        ) as two,
    ):
        yield one, two
    other.close()


def eventually(what: Callable[[], bool]) -> bool:
    give_up_at_s = time.monotonic() + 20
    while not what():
        if time.monotonic() > give_up_at_s:
            return False
        time.sleep(0.05)
    return True


def job_of(client: TestClient, address: str) -> Job | None:
    known: dict[str, Job] = client.app.state.imports._jobs  # type: ignore[attr-defined]
    return known.get(address.rpartition("/")[2])


def test_how_far_a_file_is_read_stands_on_the_other_servers_page_too(
    pair: tuple[TestClient, TestClient], gate: Gate
) -> None:
    one, two = pair
    gate.phase = "Reading"
    address = uploaded(one, FILE)
    assert gate.is_held.wait(30)
    page = two.get(address)
    assert page.status_code == 200
    assert "Reading line 5" in page.text
    assert 'hx-trigger="every 1s"' in page.text
    assert job_of(two, address) is None  # it is not read there as well
    gate.is_open.set()
    assert "Store 40 entries" in settled(one, address).text
    assert "Store 40 entries" in settled(two, address).text


def test_what_is_stored_by_one_server_is_being_stored_and_then_stored_on_the_other(
    pair: tuple[TestClient, TestClient], gate: Gate
) -> None:
    one, two = pair
    gate.phase = "Storing"
    address = uploaded(one, FILE)
    settled(one, address)
    settled(two, address)  # which has read it as well, and shows that nothing is stored
    one.post(f"{address}/store")
    assert gate.is_held.wait(30)
    assert "10 of 40 entries are in" in two.get(address).text
    gate.is_open.set()
    assert "Stored: 40 entries" in settled(one, address).text
    page = two.get(address).text
    assert "Stored: 40 entries" in page
    assert "Take it all back" in page


def test_a_file_that_one_server_reads_can_be_let_go_of_at_the_other(
    pair: tuple[TestClient, TestClient], gate: Gate, tmp_path: Path
) -> None:
    one, two = pair
    gate.phase = "Reading"
    address = uploaded(one, FILE)
    assert gate.is_held.wait(30)
    two.get(address)
    assert two.post(f"{address}/stop", follow_redirects=False).status_code == 303
    gate.is_open.set()
    assert eventually(lambda: not list((tmp_path / "uploads").glob("*.upload")))
    assert eventually(lambda: two.get(address).status_code == 404)
    assert one.get(address).status_code == 404


def test_a_server_that_went_away_while_it_read_is_followed_by_the_other(
    pair: tuple[TestClient, TestClient], gate: Gate, monkeypatch: pytest.MonkeyPatch
) -> None:
    one, two = pair
    gate.phase = "Reading"
    address = uploaded(one, FILE)
    assert gate.is_held.wait(30)
    later = NOW + 2 * jobs.QUIET_FOR
    monkeypatch.setattr(two.app.state, "clock", lambda: later)  # type: ignore[attr-defined]
    gate.phase = ""  # the other one is not held
    assert "Store 40 entries" in settled(two, address).text
    with Session(two.app.state.store.reader) as session:  # type: ignore[attr-defined]
        row = told_job(session, address.rpartition("/")[2])
    assert row is not None
    assert row.state == "checked"


def test_another_room_does_not_see_it(pair: tuple[TestClient, TestClient], gate: Gate) -> None:
    one, two = pair
    two.post("/rooms/new", data={"name": "Other", "time_zone": "UTC"})
    gate.phase = "Reading"
    address = uploaded(one, FILE)
    assert gate.is_held.wait(30)
    assert two.get(address.replace(ROOM, "other")).status_code == 404
