"""Solvents of the site's own, from the data sheet to the waste drum."""

import re
from collections.abc import Mapping
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.services.rooms import find_room
from app.store.engine import Store
from app.store.solvents import own_solvents
from app.store.tables import TankRow
from tests.answers import sure
from tests.factories import NOW, ROOM

AT, API = f"/rooms/{ROOM}", f"/api/v1/rooms/{ROOM}"
HERE = f"{AT}/solvents"
SHEETS: Mapping[str, dict[str, str]] = {
    "heptane": {"name": "Heptane", "density_g_ml": "0.684", "flash_point_c": "-4",
                "boiling_point_c": "98.4", "vapour_pressure_hpa": "48", "limit_ppm": "400",
                "molar_mass_g_mol": "100.2", "sheet_on": "2025-03-01"},
    "lactate": {"name": "Ethyl lactate", "density_g_ml": "1.034", "flash_point_c": "46",
                "boiling_point_c": "154"},
    "blend": {"name": "Print wash 3 (low odour)", "density_g_ml": "0.95", "density_at_c": "25",
              "has_no_flash": "on", "vapour_pressure_hpa": "0.4"},
    "denatured": {"name": "Denatured alcohol 95", "density_g_ml": "0.805", "flash_point_c": "13",
                  "boiling_point_c": "78", "vapour_pressure_hpa": "59", "limit_ppm": "1000",
                  "molar_mass_g_mol": "46.1"},
}  # fmt: skip
"""As data sheets print them; from memory."""


def keys(store: Store) -> tuple[str, ...]:
    with Session(store.reader) as session:
        return own_solvents(session, find_room(session, ROOM).id or 0).keys


def bath(store: Store) -> TankRow:
    with Session(store.reader) as session:
        row = session.get(TankRow, (find_room(session, ROOM).id, "oak"))
        assert row is not None
        return row


@pytest.fixture(params=list(SHEETS))
def entered(request: pytest.FixtureRequest, client: TestClient, store: Store) -> tuple[str, str]:
    """The word of a sheet, and the key that it was given."""
    page = client.post(HERE, data=SHEETS[request.param])
    assert page.status_code == 200
    assert "Saved" in page.text
    (key,) = keys(store)
    return request.param, key


def set_up(client: TestClient, key: str) -> None:
    new = {"name": "Oak", "tank": "oak", "capacity_l": "40", "solvent": key, "limit_value": "10"}
    assert client.post(f"{AT}/tanks/new", data=new).status_code == 200


def test_it_works_from_the_tank_to_the_drum(
    client: TestClient, store: Store, entered: tuple[str, str]
) -> None:
    word, key = entered
    name = SHEETS[word]["name"]
    assert f'value="{key}"' in client.get(f"{AT}/tanks/new").text
    set_up(client, key)
    assert bath(store).solvent == key
    wash = {"resin": "slate", "area_cm2": "1200"}
    assert sure(client, f"{AT}/tanks/oak/log/wash", wash).status_code == 200
    dense = str(round(float(SHEETS[word]["density_g_ml"]) + 0.002, 4))
    reading = {"method": "hydrometer", "density_g_ml": dense,
               "temperature_c": SHEETS[word].get("density_at_c", "20")}  # fmt: skip
    if word == "lactate":  # as dense as resin
        page = client.post(f"{AT}/tanks/oak/log/reading", data=reading)
        assert "cannot tell this resin" in page.text
    else:
        assert sure(client, f"{AT}/tanks/oak/log/reading", reading).status_code == 200
        assert bath(store).last_reading_at_us is not None
    assert "Error" not in client.get(f"{AT}/tanks/oak").text
    swap = {"drained_l": "39", "filled_l": "39", "solvent": key}
    assert sure(client, f"{AT}/tanks/oak/swap/at-once", swap).status_code == 200
    assert (bath(store).fill, bath(store).solvent) == (1, key)
    assert re.sub(r"&#3[49];", "'", name) in client.get(f"{AT}/log").text
    assert key not in re.sub(r'(href|value)="[^"]*"', "", client.get(f"{AT}/log").text)


def test_its_waste_has_a_drum_of_its_own(client: TestClient, entered: tuple[str, str]) -> None:
    word, key = entered
    set_up(client, key)
    drum = {"name": "Drum 9", "drum": "d9", "capacity_l": "60", "stream": key,
            "area": "wash_station"}  # fmt: skip
    assert f'value="{key}"' in client.get(f"{AT}/waste/new").text
    page = client.post(f"{AT}/waste/new", data=drum)
    assert page.status_code == 200, re.findall(r'role="alert">([^<]*)', page.text)
    pour = {"kind": "pour", "drum": "d9", "tank": "oak", "volume_l": 5.0, "at": NOW.isoformat()}
    answer = client.post(f"{API}/entries", json=pour)
    assert answer.status_code == 201, answer.text
    label = client.get(f"{AT}/waste/drums/d9/label").text
    assert f"{SHEETS[word]['name']}, dissolved acrylate resin" in label
    is_flammable = word != "blend"
    assert ("Ignitable" in label) is is_flammable


def test_storage_and_vapour_know_it(client: TestClient, entered: tuple[str, str]) -> None:
    word, key = entered
    set_up(client, key)
    page = client.get(f"{AT}/storage").text
    is_offered = word in ("heptane", "denatured")
    assert (f'<option value="{key}"' in page) is is_offered
    asked: dict[str, Any] = {
        "solvent": key, "case": "spill", "volume_l": "1", "air_m_s": "0.25", "temperature_c": "20",
        "room_volume_m3": "60", "air_changes_per_hour": "6", "mixing": "3",
    }  # fmt: skip
    answer = client.get(f"{AT}/storage", params=asked)
    assert answer.status_code == (200 if is_offered else 422)
    if word == "heptane":
        assert "worked out from its flash point" in answer.text
        assert "400" in answer.text
    if not is_offered:
        assert "lacks what an estimate needs" in answer.text


def test_a_problem_with_it_is_reported(
    client: TestClient, store: Store, entered: tuple[str, str]
) -> None:
    _, key = entered
    assert f'value="{key}"' in client.get(f"{AT}/problem/wrong_solvent").text
    set_up(client, key)
    spilled = {"tank": "oak", "source": "bath", "volume_l": "1", "by": "Wren"}
    page = sure(client, f"{AT}/problem/spill", spilled)
    assert page.status_code == 200
    assert bath(store).volume_l == pytest.approx(39.0, abs=0.5)


def test_the_page_says_what_a_sheet_leaves_open(client: TestClient) -> None:
    client.post(HERE, data=SHEETS["lactate"])
    page = client.get(HERE).text
    assert "Category 3" in page
    assert "No exposure limit" in page
    assert "No molar mass" in page
    assert "No flash point" not in page


def test_what_does_not_fit_stays_on_the_form(client: TestClient, store: Store) -> None:
    page = client.post(HERE, data=SHEETS["heptane"] | {"density_g_ml": "684"})
    assert page.status_code == 422
    assert 'value="684"' in page.text
    assert 'id="e-density_g_ml"' in page.text
    page = client.post(HERE, data=SHEETS["heptane"] | {"name": "Acetone"})
    assert "Give yours another name" in page.text
    assert keys(store) == ()


def test_a_new_sheet_starts_from_the_old_one_and_counts_from_the_next_fill(
    client: TestClient, store: Store
) -> None:
    client.post(HERE, data=SHEETS["heptane"])
    (old,) = keys(store)
    set_up(client, old)
    form = client.get(HERE, params={"sheet": old}).text
    assert 'value="0.684"' in form
    client.post(HERE, data=SHEETS["heptane"] | {"density_g_ml": "0.69", "sheet_on": "2026-01-01"})
    (new,) = keys(store)
    assert new != old
    assert bath(store).solvent == old
    assert sure(client, f"{AT}/tanks/oak/swap/at-once", {"solvent": new}).status_code == 200
    assert bath(store).solvent == new


def test_a_spreadsheet_brings_a_tank_of_it(client: TestClient, store: Store) -> None:
    client.post(HERE, data=SHEETS["heptane"])
    (key,) = keys(store)
    table = (
        "at,kind,tank,capacity_l,solvent,limit_percent\n"
        f"2026-02-02 09:00,tank,The oak,40,{key},10\n"
    )
    answer = client.post(
        f"{API}/import", content=table.encode(), headers={"content-type": "text/csv"}
    )
    assert answer.status_code == 201, answer.text
    tanks = client.get(f"{API}/tanks").json()["tanks"]
    assert key in {tank["solvent"] for tank in tanks}


def test_a_program_enters_and_uses_it(client: TestClient, store: Store) -> None:
    sheet = {"kind": "own_solvent", "own_solvents": "own_solvents", "name": "Heptane",
             "density_g_ml": 0.684, "flash_point_c": -4.0, "at": NOW.isoformat()}  # fmt: skip
    assert client.post(f"{API}/entries", json=sheet).status_code == 201
    (key,) = client.get(f"{API}/books/own_solvents/own_solvents").json()["state"]["keys"]
    assert keys(store) == (key,)
    new = {"kind": "tank", "tank": "oak", "name": "Oak", "capacity_l": 40, "limit_percent": 10,
           "solvent": key, "at": NOW.isoformat()}  # fmt: skip
    weak = new | {"fresh_purity_percent": 95.0}
    assert client.post(f"{API}/entries", json=weak).status_code == 422
    assert client.post(f"{API}/entries", json=new).status_code == 201
    assert client.get(f"{API}/tanks/oak").json()["solvent"] == key


@pytest.mark.parametrize("name", ["Heptane", "heptane", "HEPTANE"])
def test_a_spreadsheet_names_it_as_people_do(client: TestClient, store: Store, name: str) -> None:
    table = (
        "at,kind,tank,capacity_l,solvent,limit_percent\n"
        f"2026-02-02 09:00,tank,The oak,40,{name},10\n"
    )
    csv = {"content-type": "text/csv"}
    early = client.post(f"{API}/import", content=table.encode(), headers=csv)
    assert early.status_code == 422
    assert "Own solvents" in early.json()["errors"][0]["message"]
    client.post(HERE, data=SHEETS["heptane"])
    (key,) = keys(store)
    answer = client.post(f"{API}/import", content=table.encode(), headers=csv)
    assert answer.status_code == 201, answer.text
    assert key in {tank["solvent"] for tank in client.get(f"{API}/tanks").json()["tanks"]}


def test_a_flash_point_that_may_be_in_fahrenheit_is_asked_about_on_its_form(
    client: TestClient, store: Store
) -> None:
    sheet = {"name": "IPA blend", "density_g_ml": "0.79", "flash_point_c": "53.6",
             "boiling_point_c": "82.3"}  # fmt: skip
    page = client.post(HERE, data=sheet)
    assert page.status_code == 422
    assert "Does the sheet give it in °F?" in page.text
    assert keys(store) == ()
    assert sure(client, HERE, sheet).status_code == 200
    assert len(keys(store)) == 1
