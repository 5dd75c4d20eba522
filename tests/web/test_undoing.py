"""Undo: the own entry, within its minutes, on the page that entered it. One rule for all pages."""

from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.config import Settings
from app.domain.roomlog.kinds import Entry
from app.domain.roomlog.kinds.curing import LampHours, Station
from app.domain.roomlog.kinds.duties import DutyDone
from app.domain.roomlog.kinds.planning import SwapPinned
from app.domain.roomlog.kinds.supplies import Item, StockReceived, StockUsed
from app.main import create_app
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.answers import sure
from tests.clocks import Clock
from tests.factories import NOW, ROOM, START, furnish, wash
from tests.furnished import prepare

AT = f"/rooms/{ROOM}"
FURNITURE: tuple[Entry, ...] = (
    Item(at=START, item="gloves", name="Gloves", category="protection", unit="pair"),
    Item(at=START, item="masks", name="Masks", category="protection", unit="piece"),
    StockReceived(at=START, item="gloves", quantity=9.0, lot="L1"),
    *(Station(at=START, station=key, name=key, source="led", wavelength_nm=405, layout="centre")
      for key in ("s1", "s2")),
)  # fmt: skip
ENTERED: dict[str, tuple[Entry, str]] = {
    "wash": (wash(0.01, id="wash", by="Wren"), "/tanks/t1/undo/wash"),
    "use": (StockUsed(at=NOW, id="use", by="Wren", item="gloves", quantity=1.0, purpose="other"),
            "/shelf/undo/gloves/use"),
    "hours": (LampHours(at=NOW, id="hours", by="Wren", station="s1", hours_h=9.0),
              "/stations/s1/undo/hours"),
    "day": (SwapPinned(at=NOW, id="day", by="Wren", tank="t1",
                       planned_on=(NOW + timedelta(days=9)).date()), "/plan/undo/day"),
    "duty": (DutyDone(at=NOW, id="duty", by="Wren", duty="interlock", of="s1", outcome="in_order"),
             "/duties/undo/duty"),
    "sheet": (StockUsed(at=NOW, id="sheet", by="Wren", item="gloves", quantity=2.0,
                        purpose="other"), "/shelf/take-back/sheet"),
}  # fmt: skip


@pytest.fixture
def client(tmp_path: Path, clock: Clock) -> Iterator[TestClient]:
    """Wren's tablet, just after Wren entered something everywhere."""
    prepare(tmp_path)
    app = create_app(Settings(data_dir=tmp_path), clock=clock)
    furnish(app.state.store, tanks=2)
    record(app.state.store, ROOM, FURNITURE, NOW)
    for name, (entry, _) in ENTERED.items():
        record(app.state.store, ROOM, [entry], NOW, submission=name)
    with TestClient(app, base_url="http://room.test") as client:
        client.cookies.set("person", "Wren")
        yield client


def counts(client: TestClient, uid: str) -> bool:
    store: Store = client.app.state.store  # type: ignore[attr-defined]
    with Session(store.reader) as session:
        row = session.exec(select(EntryRow).where(EntryRow.uid == uid)).one()
        return row.voided_by is None


@pytest.mark.parametrize("name", list(ENTERED))
def test_whoever_entered_it_undoes_it_within_ten_minutes(
    client: TestClient, clock: Clock, name: str
) -> None:
    clock.now += timedelta(minutes=10)
    assert client.post(AT + ENTERED[name][1]).status_code == 200
    assert not counts(client, name)


@pytest.mark.parametrize("name", list(ENTERED))
@pytest.mark.parametrize(
    "who, minutes, said",
    [("Wren", 11, "This was entered over 10 minutes ago"), ("Dunlin", 1, "Wren entered this"),
     ("", 1, "Wren entered this")],
)  # fmt: skip
def test_later_or_by_somebody_else_it_stands_and_the_page_says_which_way_is_left(
    client: TestClient, clock: Clock, name: str, who: str, minutes: int, said: str
) -> None:
    clock.now += timedelta(minutes=minutes)
    client.cookies.set("person", who)
    answer = client.post(AT + ENTERED[name][1])
    assert answer.status_code == 409
    assert said in answer.text
    assert "correct or withdraw it there" in answer.text
    assert counts(client, name)


@pytest.mark.parametrize(
    "address",
    ["/tanks/t2/undo/wash", "/tanks/t1/undo/use", "/shelf/undo/masks/use",
     "/shelf/undo/gloves/wash", "/stations/s2/undo/hours", "/stations/s1/undo/wash",
     "/plan/undo/wash", "/duties/undo/use", "/tanks/t1/undo/tank-t1"],
)  # fmt: skip
def test_what_another_page_stores_is_not_undone_here(client: TestClient, address: str) -> None:
    answer = client.post(AT + address)
    assert answer.status_code == 409
    assert "cannot be undone here" in answer.text
    assert counts(client, address.rpartition("/")[2])


def test_what_is_not_there_is_not_undone(client: TestClient) -> None:
    assert client.post(f"{AT}/tanks/t1/undo/nothing").status_code == 404


def test_a_correction_makes_an_entry_no_younger_and_nobody_elses(
    client: TestClient, clock: Clock
) -> None:
    clock.now += timedelta(minutes=8)
    fixed = {"kind": "wash", "tank": "t1", "resin": "slate", "parts": 3, "by": "Dunlin"}
    answer = client.post(f"/api/v1{AT}/entries/wash/correction", json=fixed)
    assert answer.status_code == 201, answer.text
    (uid,) = answer.json()["ids"]
    client.cookies.set("person", "Dunlin")
    assert client.post(f"{AT}/tanks/t1/undo/{uid}").status_code == 409
    clock.now += timedelta(minutes=4)
    client.cookies.set("person", "Wren")
    assert client.post(f"{AT}/tanks/t1/undo/{uid}").status_code == 409
    assert counts(client, uid)


def test_what_nobody_put_a_name_to_is_undone_by_whoever_is_there(client: TestClient) -> None:
    form = {"resin": "slate", "parts": "3", "by": ""}
    sent = sure(client, f"{AT}/tanks/t1/log/wash", form, follow_redirects=False)
    uid = sent.headers["location"].partition("saved=")[2]
    assert client.post(f"{AT}/tanks/t1/undo/{uid}").status_code == 200
    assert not counts(client, uid)
