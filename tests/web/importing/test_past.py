"""Imports as pages show them: what goes on, what is asked, what stopped, what is taken back."""

import re
import threading
import time
from collections.abc import Iterator
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from httpx import Response
from sqlmodel import Session, select

from app.services.importing import storing
from app.store.engine import Store
from app.store.import_tables import ImportRow
from app.store.tables import EntryRow
from app.web.importing.jobs import Job
from tests.factories import NOW, ROOM
from tests.web.importing.test_importing import count, line, settled, uploaded

ROOM_PAGE = f"/rooms/{ROOM}"


class Gate:
    """Holds an import at the first entries it has stored, until it is let go."""

    def __init__(self) -> None:
        self.is_held, self.is_open = threading.Event(), threading.Event()

    def pass_by(self, phase: str, done: int) -> None:
        if phase == "Storing" and done < 40 and not self.is_open.is_set():
            self.is_held.set()
            assert self.is_open.wait(30)


@pytest.fixture
def gate(monkeypatch: pytest.MonkeyPatch) -> Iterator[Gate]:
    """Imports in slices of ten, held after the first."""
    gate = Gate()
    told = Job.progress

    def progress(job: Job, phase: str, done: int, total: int) -> None:
        told(job, phase, done, total)
        gate.pass_by(phase, done)

    monkeypatch.setattr(storing, "SLICE", 10)
    monkeypatch.setattr(Job, "progress", progress)
    yield gate
    gate.is_open.set()


def held(client: TestClient, gate: Gate) -> str:
    """The address of an import of forty washes, of which ten are in."""
    text = "\n".join(line(12 - number / 10, id=f"w{number}") for number in range(40))
    address = uploaded(client, text, "washes.jsonl")
    settled(client, address)
    client.post(f"{address}/store")
    assert gate.is_held.wait(30)
    return address


def done_with(client: TestClient, address: str, words: str) -> Response:
    for _ in range(300):
        answer = client.get(address)
        if words in answer.text:
            return answer
        time.sleep(0.05)
    raise AssertionError(f"“{words}” does not come: {answer.text}")


def test_every_page_of_the_room_says_how_far_it_is(client: TestClient, gate: Gate) -> None:
    held(client, gate)
    for path in ("", "/log", "/tanks/t1", "/shelf", "/spend", "/plan", "/import"):
        text = client.get(ROOM_PAGE + path).text
        assert "Being brought in" in text, path
        assert "10 of 40 entries" in text, path
    part = client.get(f"{ROOM_PAGE}/imports/under-way", headers={"hx-request": "true"}).text
    assert "10 of 40 entries" in part
    client.post("/rooms/new", data={"name": "Other", "time_zone": "UTC"})
    assert "Being brought in" not in client.get("/rooms/other").text
    gate.is_open.set()
    done_with(client, f"{ROOM_PAGE}/imports/under-way", "It is all in")
    assert "under-way" not in client.get(ROOM_PAGE).text


def test_a_wash_logged_meanwhile_is_stored_at_once(
    client: TestClient, store: Store, gate: Gate
) -> None:
    held(client, gate)
    before = count(store)
    answer = client.post(
        f"{ROOM_PAGE}/tanks/t1/log/wash", data={"resin": "slate", "area_cm2": "900"}
    )
    assert answer.status_code == 200
    assert count(store) == before + 1
    gate.is_open.set()
    done_with(client, f"{ROOM_PAGE}/imports/under-way", "It is all in")
    assert "41 washes" in re.sub(r"<[^>]+>", "", client.get(f"{ROOM_PAGE}/tanks/t1").text)


def test_it_is_stopped_from_the_page_and_gone_on_with(
    client: TestClient, store: Store, gate: Gate
) -> None:
    address = held(client, gate)
    before = count(store) - 10
    client.post(f"{address}/stop")
    gate.is_open.set()
    page = settled(client, address)
    assert "10 of 40 entries are in" in page.text
    assert "Import stopped" in client.get(ROOM_PAGE).text
    token = address.rsplit("/", 1)[1]
    past = client.get(f"{ROOM_PAGE}/imports/{token}").text
    assert "Keep this part" in past
    assert "Take this part back" in past
    client.post(f"{address}/store")
    assert "Stored: 40 entries" in settled(client, address).text
    assert count(store) == before + 40
    assert "Import stopped" not in client.get(ROOM_PAGE).text


def test_a_part_can_be_left_in(client: TestClient, gate: Gate) -> None:
    address = held(client, gate)
    client.post(f"{address}/stop")
    gate.is_open.set()
    settled(client, address)
    token = address.rsplit("/", 1)[1]
    client.post(f"{ROOM_PAGE}/imports/{token}/keep")
    assert "Import stopped" not in client.get(ROOM_PAGE).text
    assert "10 entries came in" in client.get(f"{ROOM_PAGE}/imports/{token}").text


def test_a_file_that_is_let_go_of_leaves_nothing(client: TestClient, store: Store) -> None:
    before = count(store)
    address = uploaded(client, line(id="a"))
    settled(client, address)
    answer = client.post(f"{address}/stop", follow_redirects=False)
    assert answer.headers["location"] == f"{ROOM_PAGE}/import"
    assert client.get(address).status_code == 404
    assert count(store) == before
    with Session(store.reader) as session:
        assert session.exec(select(ImportRow)).all() == []


def test_one_touch_takes_an_import_back(client: TestClient, store: Store) -> None:
    address = uploaded(client, line(id="a") + "\n" + line(2, id="b"))
    settled(client, address)
    client.post(f"{address}/store")
    settled(client, address)
    token = address.rsplit("/", 1)[1]
    here = f"{ROOM_PAGE}/imports/{token}"
    assert "2 entries came in" in client.get(here).text
    client.cookies.set("person", "Wren")
    client.post(f"{here}/undo")
    page = done_with(client, here, "Taken back")
    assert "2 entries" in page.text
    with Session(store.reader) as session:
        words = session.exec(select(EntryRow.by).where(EntryRow.kind == "withdrawal")).all()
    assert words == ["Wren", "Wren"]
    assert "taken back" in client.get(f"{ROOM_PAGE}/import").text
    assert client.post(f"{here}/undo").status_code in (200, 303)


def test_a_date_that_can_be_two_days_is_asked_about_with_two_named_choices(
    client: TestClient, store: Store
) -> None:
    table = "Date,Tank,Event,Litres\n01/03/2026,t1,top up,2\n"
    address = uploaded(client, table, "t.csv")
    page = settled(client, address)
    assert re.findall(r'name="answer-0" value="(\w+)"', page.text) == ["first", "second"]
    assert "1 March 2026" in page.text
    assert "3 January 2026" in page.text
    assert "Store " not in page.text
    client.post(f"{address}/store")  # nothing can be stored before it is answered
    assert "1 March 2026" in settled(client, address).text
    client.post(f"{address}/answers", data={})
    assert "1 March 2026" in settled(client, address).text
    client.post(f"{address}/answers", data={"answer-0": "first"})
    assert "Store 1 entry" in settled(client, address).text
    client.post(f"{address}/store")
    settled(client, address)
    with Session(store.reader) as session:
        row = session.exec(select(EntryRow).where(EntryRow.kind == "top_up")).one()
    assert row.at_us == 1_772_323_200_000_000  # 1 March 2026 00:00 UTC, by `date -u -d @...`


def test_an_edited_sheet_shows_what_was_and_what_becomes(client: TestClient) -> None:
    table = "Date,Tank,Event,Litres\n2026-02-20,t1,top up,2\n2026-02-21,t1,top up,1\n"
    for content in (table, table.replace("up,2", "up,3")):
        address = uploaded(client, content, "t.csv")
        page = settled(client, address)
        client.post(f"{address}/store")
        settled(client, address)
    text = re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", page.text))
    assert "new 0 changed: corrects what is there 1 unchanged: already there 1" in text
    assert "2 volume l 2 3" in text


def test_an_import_that_is_not_there_is_404(client: TestClient) -> None:
    assert client.get(f"{ROOM_PAGE}/imports/nothing").status_code == 404
    assert client.post(f"{ROOM_PAGE}/imports/nothing/undo").status_code == 404


def test_a_program_that_ended_in_the_middle_is_said_on_the_page(
    client: TestClient, store: Store
) -> None:
    address = uploaded(client, line(id="a"))
    settled(client, address)
    client.post(f"{address}/store")
    settled(client, address)
    token = address.rsplit("/", 1)[1]
    with Session(store.writer) as session:
        row = session.exec(select(ImportRow)).one()
        row.state, row.total = "storing", 5
        row.touched_at_us -= round(timedelta(minutes=5) / timedelta(microseconds=1))
        room = session.exec(select(EntryRow.room_id)).first()
        assert room is not None
        session.add(row)
        session.commit()
    client.post(f"{ROOM_PAGE}/tanks/t1/log/wash", data={"resin": "slate", "area_cm2": "900"})
    assert "1 of 5 entries are in" in client.get(ROOM_PAGE).text
    past = client.get(f"{ROOM_PAGE}/imports/{token}").text
    assert "Upload the same file again" in past
    assert NOW.year == 2026
