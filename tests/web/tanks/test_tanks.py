"""The tank page and a tank's settings."""

from datetime import timedelta

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.domain.roomlog.kinds import TopUp
from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow, TankRow
from tests.factories import NOW, ROOM, START, sensor_reading, tank, wash

TANK = f"/rooms/{ROOM}/tanks/t1"


def row(store: Store, key: str) -> TankRow:
    with Session(store.reader) as session:
        return session.exec(select(TankRow).where(TankRow.key == key)).one()


def fill_log(store: Store, washes: int = 60) -> None:
    record(store, ROOM, [wash(13 - i * 0.2, id=f"w{i}") for i in range(washes)], NOW)
    record(store, ROOM, [sensor_reading(1, 3.0, id="reading")], NOW)
    record(store, ROOM, [TopUp(at=NOW, tank="t1", volume_l=1.0)], NOW)


def test_it_works(client: TestClient, store: Store) -> None:
    fill_log(store)
    page = client.get(TANK)
    assert page.status_code == 200
    for text in ("Why this number", "Slate", "by volume", "g/L"):
        assert text in page.text


def test_a_tank_without_entries_shows(client: TestClient) -> None:
    assert client.get(TANK).status_code == 200


def test_the_log_pages_and_comes_back(client: TestClient, store: Store) -> None:
    fill_log(store)
    first = client.get(TANK, params={"part": "log"}, headers={"HX-Request": "true"})
    assert first.status_code == 200
    assert "Older" in first.text
    assert "<html" not in first.text


def test_the_log_is_filtered_by_kind(client: TestClient, store: Store) -> None:
    fill_log(store)
    page = client.get(
        TANK, params={"kind": "reading", "part": "log"}, headers={"HX-Request": "true"}
    )
    assert "entries/reading" in page.text
    assert "entries/w1" not in page.text


@pytest.mark.parametrize(
    "cursor", ["x", "b", "b1", "b1.2.3", "b9e99.1", "b1.x", "b" + "9" * 40 + ".1"]
)
def test_a_foreign_cursor_is_refused_in_words(client: TestClient, cursor: str) -> None:
    page = client.get(TANK, params={"cursor": cursor})
    assert page.status_code == 422
    assert "page address" in page.text


@pytest.mark.parametrize("span", ["fill", "90", "365", "nonsense"])
def test_every_span_of_the_trend_shows(client: TestClient, store: Store, span: str) -> None:
    fill_log(store)
    assert client.get(TANK, params={"span": span}).status_code == 200


NEW = {
    "name": "Oak", "tank": "oak", "capacity_l": "20", "solvent": "isopropanol",
    "fresh_purity_percent": "99", "limit_value": "10", "limit_basis": "volume_percent",
}  # fmt: skip


def test_a_tank_is_added_with_a_limit_in_its_basis(client: TestClient, store: Store) -> None:
    page = client.post(f"/rooms/{ROOM}/tanks/new", data=NEW)
    assert page.status_code == 200
    assert (row(store, "oak").limit_basis, row(store, "oak").limit_entered) == (
        "volume_percent",
        10,
    )
    assert row(store, "oak").limit_percent > 13


@pytest.mark.parametrize(
    "change,message",
    [
        ({"tank": "t1"}, "already"),
        ({"tank": "a tank"}, "letters"),
        ({"capacity_l": "-3"}, "must be between"),
        ({"capacity_l": ""}, "missing"),
        ({"limit_value": "140"}, "must be between"),
        ({"stop_value": "5", "stop_basis": "volume_percent"}, "below the first"),
        ({"solvent": "paint"}, "not in the solvent table"),
        ({"min_l": "30"}, "above the upper mark"),
    ],
)  # fmt: skip
def test_a_tank_that_does_not_fit_is_refused(
    client: TestClient, change: dict[str, str], message: str
) -> None:
    page = client.post(f"/rooms/{ROOM}/tanks/new", data=NEW | change)
    assert page.status_code == 422
    assert message in page.text
    assert 'value="Oak"' in page.text


def test_settings_change_and_show_what_is_set(client: TestClient, store: Store) -> None:
    form = client.get(f"{TANK}/settings")
    assert 'value="40"' in form.text
    changed = {"name": "Alder", "capacity_l": "42", "limit_value": "120", "limit_basis": "g_per_l",
               "life_days": "60", "life_washes": "500"}  # fmt: skip
    client.post(f"{TANK}/settings", data=changed)
    stored = row(store, "t1")
    assert (stored.name, stored.capacity_l, stored.limit_basis) == ("Alder", 42.0, "g_per_l")
    assert (stored.life_days, stored.life_washes) == (60.0, 500)


def test_a_tank_goes_out_of_use_and_comes_back(client: TestClient, store: Store) -> None:
    data = {"name": "T1", "capacity_l": "40", "limit_value": "10"}
    client.post(f"{TANK}/settings", data=data | {"is_retired": "on"})
    assert row(store, "t1").is_retired
    client.post(f"{TANK}/settings", data=data)
    assert not row(store, "t1").is_retired


def test_saving_settings_unchanged_adds_nothing_to_the_log(
    client: TestClient, store: Store
) -> None:
    with Session(store.reader) as session:
        before = len(session.exec(select(EntryRow.id)).all())
    data = {"name": "T1", "capacity_l": "40", "min_l": "30", "limit_value": "10",
            "limit_basis": "mass_percent"}  # fmt: skip
    client.post(f"{TANK}/settings", data=data)
    with Session(store.reader) as session:
        assert len(session.exec(select(EntryRow.id)).all()) == before


def test_a_tank_keeps_its_number_when_an_older_log_comes_in(store: Store) -> None:
    record(store, ROOM, [tank("old", at=START - timedelta(days=30))], NOW)
    assert [row(store, key).place for key in ("t1", "t2", "old")] == [1, 2, 3]
