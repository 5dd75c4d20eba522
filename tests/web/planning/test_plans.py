"""Planning a wash: a time to come, a load, and what the forecast makes of it."""

import html
import re
from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.instants import to_us
from app.store.tables import EntryRow, TankRow
from tests.answers import sure
from tests.factories import NOW, ROOM, wash

TANK = f"/rooms/{ROOM}/tanks/t1"
PLAN = {"resin": "slate", "parts": "12", "at": "2026-03-04T09:30", "by": "Wren", "submission": "p1"}


def plans(store: Store) -> list[EntryRow]:
    with Session(store.reader) as session:
        query = select(EntryRow).where(EntryRow.kind == "planned_wash")
        return list(session.exec(query).all())


def limit_p50_us(store: Store) -> int:
    """When half of the forecasts are past the first limit."""
    with Session(store.reader) as session:
        row = session.exec(select(TankRow).where(TankRow.key == "t1")).one()
    assert row.limit_p50_us is not None
    return row.limit_p50_us


def test_a_plan_is_stored_with_the_time_it_became_known(client: TestClient, store: Store) -> None:
    answer = client.post(f"{TANK}/log/plan", data=PLAN | {"plan": "job-7"})
    assert answer.status_code == 200
    (row,) = plans(store)
    assert row.fields == '{"tank":"t1","resin":"slate","parts":12,"plan":"job-7"}'
    assert row.entered_at_us == to_us(NOW)
    assert row.at_us == to_us(NOW.replace(day=4, hour=9, minute=30))
    assert "Undo" in answer.text


def test_the_tank_shows_it_and_leads_to_the_form(client: TestClient) -> None:
    client.post(f"{TANK}/log/plan", data=PLAN)
    page = client.get(TANK).text
    assert f"{TANK}/log/plan" in page
    log = page.partition('id="log"')[2]
    assert "<b>Planned wash</b>" in log
    assert "12 parts" in log
    assert "Slate" in log


@pytest.mark.parametrize(
    "typed,name,message",
    [
        ({"at": "2026-03-02T11:59"}, "at", "This time has passed."),
        ({"at": "2026-03-02T12:00"}, "at", "This time has passed."),
        ({"at": "2020-01-01T12:00"}, "at", "This time has passed."),
        ({"at": ""}, "at", "Enter the day and time the wash"),
        ({"at": "soon"}, "at", "Enter the day and time"),
        ({"parts": ""}, "parts", "number of parts"),
        ({"parts": "-1"}, "parts", "must be between"),
        ({"plan": "job 7"}, "plan", "letters, digits"),
    ],
)
def test_what_does_not_fit_is_said_beside_its_field(
    client: TestClient, store: Store, typed: dict[str, str], name: str, message: str
) -> None:
    answer = client.post(f"{TANK}/log/plan", data=PLAN | typed)
    assert answer.status_code == 422
    beside = re.search(rf'id="e-{name}" role="alert">(.*?)</p>', answer.text)
    assert beside is not None
    assert message in html.unescape(beside[1])
    for field, value in (PLAN | typed).items():
        if field in ("parts", "at", "plan"):
            assert re.search(rf'name="{field}"[^>]*value="{re.escape(value)}"', answer.text)
    assert plans(store) == []


@pytest.fixture
def usual_p50_us(store: Store) -> int:
    """The limit's day in a tank that washes 1200 cm² a day and has nothing planned."""
    record(store, ROOM, [wash(12 - day) for day in range(11)], NOW)
    return limit_p50_us(store)


LARGE = {"resin": "slate", "area_cm2": "40000", "at": "2026-03-03T09:00", "submission": "p2"}
"""33 days of the usual work in one: most plans are kept, so the limit comes some weeks earlier."""


def test_a_large_plan_brings_the_limit_nearer(
    client: TestClient, store: Store, usual_p50_us: int
) -> None:
    assert sure(client, f"{TANK}/log/plan", LARGE).status_code == 200
    nearer = timedelta(microseconds=usual_p50_us - limit_p50_us(store))
    assert timedelta(days=20) < nearer < timedelta(days=45)


def test_a_plan_taken_back_no_longer_counts(
    client: TestClient, store: Store, usual_p50_us: int
) -> None:
    """The forecast is drawn anew, so its day moves a little by chance."""
    sure(client, f"{TANK}/log/plan", LARGE)
    client.post(f"{TANK}/undo/{plans(store)[0].uid}")
    moved = timedelta(microseconds=abs(usual_p50_us - limit_p50_us(store)))
    assert moved < timedelta(days=10)
