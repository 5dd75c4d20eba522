"""Two names never become one thing, whatever script they are written in."""

from pathlib import Path
from typing import Any

import pytest

from app.domain.roomlog.kinds import Tank, Wash
from app.services.importing.importing import check_file
from app.services.importing.tables import TableOptions
from app.store.engine import Store
from tests.factories import NOW, ROOM

AT = f"/rooms/{ROOM}"
PAIRS = (
    ("Bad Süd", "Bad Sød"),
    ("Bad Süd", "Bad Sud"),
    ("紫", "緑"),
    ("Бак 1", "Bak 1"),
    ("A-1 ", "A/1"),
)
NEW = {
    "tanks/new": {"capacity_l": "40", "solvent": "isopropanol", "fresh_purity_percent": "99",
                  "limit_value": "10", "limit_basis": "mass_percent"},
    "resins": {"density_g_ml": "1.1"},
    "shelf/new": {"category": "protection", "unit": "pair"},
    "stations/new": {"source": "led", "wavelength_nm": "405", "layout": "centre"},
    "waste/new": {"capacity_l": "55", "stream": "isopropanol_resin", "area": "wash_station",
                  "fill_limit_percent": "90"},
    "duties/settings": {"every_days": "7", "grace_days": "1", "subject": "room"},
}  # fmt: skip
LISTS = {"shelf/new": "shelf", "stations/new": "stations", "waste/new": "waste",
         "resins": "resins", "tanks/new": "", "duties/settings": "duties/settings"}  # fmt: skip


@pytest.mark.parametrize("path", NEW)
@pytest.mark.parametrize("first,second", PAIRS)
def test_two_names_are_two_things(client: Any, path: str, first: str, second: str) -> None:
    for name in (first, second):
        form = {**NEW[path], "name": name, "by": "Wren"}
        answer = client.post(f"{AT}/{path}", data=form)
        assert answer.status_code == 200, answer.text
    page = client.get(f"{AT}/{LISTS[path]}".rstrip("/")).text
    for name in (first.strip(), second.strip()):
        assert name in page, name


@pytest.mark.parametrize("path", NEW)
def test_a_name_that_is_there_is_refused_beside_it_and_a_retry_is_not(
    client: Any, path: str
) -> None:
    form = {**NEW[path], "name": "Bad Süd", "by": "Wren", "submission": "one-of-these"}
    for _ in range(2):  # the answer to the first may have been lost
        assert client.post(f"{AT}/{path}", data=form).status_code == 200
    answer = client.post(f"{AT}/{path}", data={**form, "name": "BAD  süd", "submission": "other"})
    assert answer.status_code == 422
    assert ". Give the new one another name." in answer.text
    assert 'value="BAD  süd"' in answer.text


def test_the_name_of_a_shipped_drum_is_free_again(client: Any) -> None:
    form = {**NEW["waste/new"], "name": "Drum 1", "by": "Wren"}
    client.post(f"{AT}/waste/new", data=form)
    api = f"/api/v1/rooms/{ROOM}/entries"
    sent = [
        {"kind": "drum_closed", "at": NOW.isoformat(), "drum": "drum-1", "by": "Wren",
         "is_cool": True},
        {"kind": "pickup_booked", "at": NOW.isoformat(), "pickup": "p1", "drums": ["drum-1"],
         "pickup_on": NOW.date().isoformat(), "hauler": "Marl Waste"},
        {"kind": "pickup_shipped", "at": NOW.isoformat(), "pickup": "p1", "drums": ["drum-1"],
         "document": "W-1"},
    ]  # fmt: skip
    for one in sent:
        answer = client.post(api, json=one)
        assert answer.status_code == 201, answer.text
    answer = client.post(f"{AT}/waste/new", data=form)
    assert answer.url.path == f"{AT}/waste/drums/drum-1-2"


def test_names_of_a_table_in_any_script_keep_their_tanks(
    client: Any, store: Store, tmp_path: Path
) -> None:
    for name in ("Bad Süd", "Bad Sud", "紫"):
        client.post(f"{AT}/tanks/new", data={**NEW["tanks/new"], "name": name})
    baths = ("Bad Süd", "bad sud", "BAD SÜD", "紫", "t1")
    path = tmp_path / "washes.csv"
    rows = (f"{NOW.isoformat()},{bath},slate,{n}" for n, bath in enumerate(baths, 1))
    path.write_text("Date,Bath,Resin,Parts\n" + "\n".join(rows), "utf-8")
    checked = check_file(store, ROOM, path, NOW, TableOptions(kind="wash"))
    found = [entry.tank for entry in checked.entries if isinstance(entry, Wash)]
    assert found == ["bad-sud", "bad-sud-2", "bad-sud", "zi", "t1"]


def test_a_table_that_sets_tanks_up_keeps_what_they_are_called(
    store: Store, tmp_path: Path
) -> None:
    path = tmp_path / "tanks.csv"
    rows = (
        f"{NOW.isoformat()},tank,{name},40,isopropanol,99,10"
        for name in ("Bad Süd", "Bad Sud", "Tank 7 (left)")
    )
    head = "at,kind,tank,capacity_l,solvent,fresh_purity_percent,limit_percent\n"
    path.write_text(head + "\n".join(rows), "utf-8")
    checked = check_file(store, ROOM, path, NOW, TableOptions())
    found = [(entry.tank, entry.name) for entry in checked.entries if isinstance(entry, Tank)]
    assert found == [
        ("bad-sud", "Bad Süd"), ("bad-sud-2", "Bad Sud"), ("tank-7-left", "Tank 7 (left)"),
    ]  # fmt: skip


def test_a_room_named_in_another_script_has_an_address_that_says_it(client: Any) -> None:
    found = []
    for name in ("Печатный цех", "Печатный «цех»"):
        answer = client.post("/rooms/new", data={"name": name, "time_zone": "Europe/Dublin"})
        found.append(answer.url.path)
    assert found == ["/rooms/pechatnyy-tsekh", "/rooms/pechatnyy-tsekh-2"]
