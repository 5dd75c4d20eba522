"""Logging at the tank through the forms, as a browser without scripts does."""

import re
from urllib.parse import parse_qs, urlsplit

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session, col, select

from app.services.door import bring_in as record
from app.store.engine import Store
from app.store.tables import EntryRow
from tests.answers import settle, sure
from tests.factories import NOW, ROOM, wash

TANK = f"/rooms/{ROOM}/tanks/t1"
HYDROMETER = {"method": "hydrometer", "density_g_ml": "0.81", "temperature_c": "20"}
WASH = {"resin": "slate", "parts": "12", "by": "Wren", "submission": "s1"}


def entries(store: Store, kind: str) -> list[EntryRow]:
    """The stored entries of a kind, oldest first."""
    with Session(store.reader) as session:
        query = select(EntryRow).where(EntryRow.kind == kind)
        return list(session.exec(query.order_by(col(EntryRow.id))).all())


def saved_id(address: str) -> str:
    return parse_qs(urlsplit(address).query)["saved"][0]


def test_it_works(client: TestClient, store: Store) -> None:
    answer = client.post(f"{TANK}/log/wash", data=WASH, follow_redirects=False)
    assert answer.status_code == 303
    (stored,) = entries(store, "wash")
    assert (stored.by, stored.fields) == ("Wren", '{"tank":"t1","resin":"slate","parts":12}')
    page = client.get(answer.headers["location"])
    assert page.status_code == 200
    assert "Undo" in page.text


def test_a_load_of_one_part_is_offered_as_one_part(client: TestClient) -> None:
    client.post(f"{TANK}/log/wash", data={**WASH, "parts": "1"})
    for page in (client.get(TANK).text, client.get(f"{TANK}/log/wash").text):
        assert "1 part" in page
        assert "1 parts" not in page


@pytest.mark.parametrize("task", ["wash", "reading", "top-up", "removal", "solids", "reject"])
def test_every_form_shows(client: TestClient, task: str) -> None:
    assert client.get(f"{TANK}/log/{task}").status_code == 200


def test_the_same_form_twice_counts_once(client: TestClient, store: Store) -> None:
    first = client.post(f"{TANK}/log/wash", data=WASH, follow_redirects=False)
    again = client.post(f"{TANK}/log/wash", data=WASH, follow_redirects=False)
    assert len(entries(store, "wash")) == 1
    assert first.headers["location"] == again.headers["location"]


def test_the_same_again_from_another_tablet_is_asked_about(
    client: TestClient, store: Store
) -> None:
    client.post(f"{TANK}/log/wash", data=WASH)
    other = WASH | {"submission": "s2", "by": "Dunlin"}
    asked = client.post(f"{TANK}/log/wash", data=other)
    assert asked.status_code == 422
    assert "Wren entered the same" in asked.text
    assert len(entries(store, "wash")) == 1
    sure(client, f"{TANK}/log/wash", other)
    assert len(entries(store, "wash")) == 2


@pytest.mark.parametrize(
    "task,typed,message",
    [
        ("wash", {"resin": "slate"}, "number of parts"),
        ("wash", {"resin": "slate", "parts": "-5"}, "must be between"),
        ("wash", {"resin": "slate", "parts": "1.5"}, "whole number"),
        ("wash", {"resin": "amber", "parts": "3"}, "no resin"),
        ("wash", {"resin": "slate", "parts": "3", "at": "2027-01-01T10:00"}, "future"),
        ("wash", {"resin": "slate", "parts": "3", "at": "2020-01-01T10:00"}, "only came into use"),
        ("wash", {"resin": "slate", "parts": "3", "at": "yesterday"}, "day and time"),
        ("wash", {"resin": "slate", "mass_g": "NaN"}, "number"),
        ("wash", {"resin": "slate", "mass_g": "1e999"}, "number"),
        ("reading", {"method": "sensor", "saturation_percent": "140"}, "must be between"),
        ("reading", HYDROMETER | {"density_g_ml": "8"}, "must be between"),
        ("reading", {"method": "hydrometer", "density_g_ml": "0.81"}, "missing"),
        ("reading", HYDROMETER | {"temperature_c": "400"}, "must be between"),
        ("reading", HYDROMETER | {"temperature_c": "72"}, "Was it 72 °F"),
        ("reading", {"method": "divining_rod"}, "not a known method"),
        ("top-up", {"volume_l": "4000"}, "holds"),
        ("top-up", {"volume_l": "a lot"}, "number"),
        ("removal", {}, "missing"),
        ("reject", {"finding": "sad"}, "must be one of"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_said_and_what_was_typed_stays(
    client: TestClient, store: Store, task: str, typed: dict[str, str], message: str
) -> None:
    with Session(store.reader) as session:
        before = len(session.exec(select(EntryRow.id)).all())
    answer = client.post(f"{TANK}/log/{task}", data=typed)
    assert answer.status_code == 422
    assert message in answer.text
    for name, value in typed.items():
        if name in ("parts", "mass_g", "volume_l", "saturation_percent", "density_g_ml"):
            assert re.search(rf'name="{name}"[^>]*value="{re.escape(value)}"', answer.text)
    with Session(store.reader) as session:
        assert len(session.exec(select(EntryRow.id)).all()) == before


def test_a_wash_for_an_unknown_tank_is_not_found(client: TestClient) -> None:
    assert client.post(f"/rooms/{ROOM}/tanks/t9/log/wash", data=WASH).status_code in (404, 422)
    assert client.get(f"/rooms/{ROOM}/tanks/t9/log/wash").status_code == 404


def test_an_unusual_load_is_asked_about(client: TestClient, store: Store) -> None:
    record(store, ROOM, [wash(10 - day, parts=12) for day in range(9)], NOW)
    answer = client.post(f"{TANK}/log/wash", data=WASH | {"parts": "1200"})
    assert answer.status_code == 422
    assert "usually about 12 parts here" in answer.text


def test_an_implausible_reading_is_asked_about_and_kept_once_confirmed(
    client: TestClient, store: Store
) -> None:
    slip = {"method": "hydrometer", "density_g_ml": "0.879", "temperature_c": "20"}
    answer = client.post(f"{TANK}/log/reading", data=slip)
    assert answer.status_code == 422
    assert "Is this right?" in answer.text
    assert entries(store, "reading") == []
    sure(client, f"{TANK}/log/reading", slip)
    assert len(entries(store, "reading")) == 1


def test_the_conversion_shows_before_saving(client: TestClient, store: Store) -> None:
    typed = {"method": "hydrometer", "density_g_ml": "0,7950", "temperature_c": "20"}
    answer = client.get(f"{TANK}/preview", params=typed)
    assert answer.status_code == 200
    assert "resin by mass" in answer.text
    assert "<html" not in answer.text
    assert entries(store, "reading") == []


def test_undo_takes_the_entry_back_and_keeps_it_in_the_history(
    client: TestClient, store: Store
) -> None:
    answer = client.post(f"{TANK}/log/wash", data=WASH, follow_redirects=False)
    undone = client.post(f"{TANK}/undo/{saved_id(answer.headers['location'])}")
    assert undone.status_code == 200
    (stored,) = entries(store, "wash")
    assert stored.voided_by is not None
    assert len(entries(store, "withdrawal")) == 1


def test_a_room_in_gallons_stores_litres(client: TestClient, store: Store) -> None:
    settle(client, ROOM, {
        "name": "Test room", "time_zone": "America/Chicago", "volume_unit": "us_gal",
        "temperature_unit": "f", "mass_unit": "oz", "area_unit": "in2"})  # fmt: skip
    sure(client, f"{TANK}/log/top-up", {"volume_l": "1"})
    (stored,) = entries(store, "top_up")
    assert re.search(r'"volume_l":3\.7854', stored.fields)


def test_a_late_entry_is_stored_at_its_own_time_in_the_rooms_zone(
    client: TestClient, store: Store
) -> None:
    settle(client, ROOM, {
        "name": "Test room", "time_zone": "America/Chicago", "volume_unit": "l",
        "temperature_unit": "c", "mass_unit": "g", "area_unit": "cm2"})  # fmt: skip
    client.post(f"{TANK}/log/wash", data=WASH | {"at": "2026-03-01T20:30"})
    (stored,) = entries(store, "wash")
    assert stored.at_us == 1_772_418_600_000_000  # 2026-03-02T02:30Z
    assert stored.entered_at_us is not None


def test_a_reading_is_converted_without_scripts_and_without_being_stored(
    client: TestClient, store: Store
) -> None:
    answer = client.get(f"{TANK}/log/reading", params=HYDROMETER)
    assert "resin by mass" in answer.text
    assert 'value="0.81"' in answer.text
    assert entries(store, "reading") == []


def test_a_wash_while_the_tank_is_being_swapped_is_asked_about(
    client: TestClient, store: Store
) -> None:
    client.post(f"{TANK}/swap/start", data={"by": "Wren"})
    asked = client.post(f"{TANK}/log/wash", data=WASH)
    assert asked.status_code == 422
    assert "swap of this tank is under way" in asked.text
    assert entries(store, "wash") == []


def test_a_wash_that_would_fill_the_bath_at_once_is_asked_about(
    client: TestClient, store: Store
) -> None:
    asked = client.post(f"{TANK}/log/wash", data=WASH | {"parts": "99999"})
    assert asked.status_code == 422
    assert "Is there a zero too many?" in asked.text
    assert entries(store, "wash") == []


def test_emptying_a_bath_is_asked_about(client: TestClient, store: Store) -> None:
    asked = client.post(f"{TANK}/log/removal", data={"volume_l": "39"})
    assert asked.status_code == 422
    assert "below the lower mark" in asked.text
    assert entries(store, "removal") == []


def test_a_tonne_of_solids_is_asked_about(client: TestClient, store: Store) -> None:
    asked = client.post(f"{TANK}/log/solids", data={"mass_g": "999999"})
    assert asked.status_code == 422
    assert "1000.0 kg of solids" in asked.text
    assert entries(store, "solids_removed") == []


def test_an_unknown_method_shows_the_usual_instrument(client: TestClient) -> None:
    page = client.get(f"{TANK}/log/reading", params={"method": "bogus"})
    assert 'name="density_g_ml"' in page.text


def test_an_unusual_load_beside_single_parts_is_told_in_the_singular(
    client: TestClient, store: Store
) -> None:
    record(store, ROOM, [wash(10 - day, parts=1) for day in range(9)], NOW)
    answer = client.post(f"{TANK}/log/wash", data=WASH | {"parts": "1200"})
    assert "usually about 1 part here" in answer.text


@pytest.mark.parametrize(
    "typed, says",
    [
        ({"method": "hydrometer", "density_g_ml": "0.81"}, "Enter the temperature too."),
        ({"method": "hydrometer", "temperature_c": "20"}, "Enter the density too."),
        ({"method": "residue", "sample_g": "10"}, "Enter the residue too."),
        ({"method": "refractometer", "temperature_c": "20"}, "Give brix or refractive index."),
        ({"method": "hydrometer", "density_g_ml": "9", "temperature_c": "20"}, "must be between"),
    ],
)
def test_what_is_still_to_be_typed_is_asked_for_and_is_no_error_yet(
    client: TestClient, typed: dict[str, str], says: str
) -> None:
    page = client.get(f"{TANK}/preview", params=typed).text
    assert says in page
    assert "is missing" not in page
