"""A purity typed as the label gives it, by every form, and what it becomes."""

import json
from typing import Any

import pytest
from fastapi.testclient import TestClient
from sqlmodel import Session

from app.domain.supplies.state import ItemState
from app.services.rooms import find_room
from app.store.engine import Store
from app.store.tables import TankRow
from app.store.things import thing
from tests.answers import sure
from tests.factories import ROOM

NEW = {"name": "Oak", "tank": "oak", "capacity_l": "20", "solvent": "isopropanol"}
BY_MASS = pytest.approx(87.6, abs=0.1)
"""91 % isopropanol by volume, after Lebo 1921 between 85.09 and 90.35 % by mass."""


def send(client: TestClient, text: str, kind: str) -> Any:
    headers = {"content-type": kind}
    return client.post(f"/api/v1/rooms/{ROOM}/import", content=text.encode(), headers=headers)


def fresh(store: Store, tank: str) -> float:
    with Session(store.reader) as session:
        row = session.get(TankRow, (find_room(session, ROOM).id, tank))
        assert row is not None
        return row.fresh_purity_percent


def item(store: Store, key: str) -> ItemState:
    with Session(store.reader) as session:
        found = thing(session, find_room(session, ROOM).id or 0, "item", key)
    assert isinstance(found, ItemState)
    return found


def test_91_of_an_alcohol_is_by_volume_unless_told_otherwise(
    client: TestClient, store: Store
) -> None:
    client.post(f"/rooms/{ROOM}/tanks/new", data=NEW | {"fresh_purity_value": "91"})
    assert fresh(store, "oak") == BY_MASS
    by_mass = {"fresh_purity_value": "91", "fresh_purity_basis": "mass_percent"}
    client.post(f"/rooms/{ROOM}/tanks/new", data=NEW | {"tank": "elm", "name": "Elm"} | by_mass)
    assert fresh(store, "elm") == 91.0


def test_99_of_a_glycol_ether_is_by_mass(client: TestClient, store: Store) -> None:
    ether = {"solvent": "dipropylene_glycol_methyl_ether", "fresh_purity_value": "98.5"}
    client.post(f"/rooms/{ROOM}/tanks/new", data=NEW | ether)
    assert fresh(store, "oak") == 98.5


def test_the_form_says_what_is_converted(client: TestClient) -> None:
    at = f"/rooms/{ROOM}/purity"
    asked = {"stem": "fresh_purity", "fresh_purity_value": "91", "solvent": "isopropanol"}
    assert client.get(at, params=asked).text.strip() == "91 % by volume is 87.6 % by mass."
    asked |= {"fresh_purity_basis": "mass_percent"}
    assert "91 % by mass is 93.6 % by volume." in client.get(at, params=asked).text
    at_the_step = {"stem": "fresh_purity", "fresh_purity_volume_percent": "91",
                   "solvent": "isopropanol"}  # fmt: skip
    assert "is 87.6 % by mass" in client.get(at, params=at_the_step).text
    for odd in ({"fresh_purity_value": "x"}, {"fresh_purity_value": "900"}, {"solvent": "paint"}):
        assert "is" not in client.get(at, params=asked | odd).text.split()


def test_what_does_not_fit_is_said_at_the_field(client: TestClient) -> None:
    page = client.post(f"/rooms/{ROOM}/tanks/new", data=NEW | {"fresh_purity_value": "910"})
    assert page.status_code == 422
    assert 'id="e-fresh_purity_value"' in page.text
    assert 'value="910"' in page.text


def test_a_swap_at_once_begins_with_the_purity_as_it_was_entered(
    client: TestClient, store: Store
) -> None:
    at = f"/rooms/{ROOM}/tanks/t1/swap"
    data = {"drained_l": "39", "filled_l": "39", "solvent": "isopropanol",
            "fresh_purity_value": "99", "fresh_purity_basis": ""}  # fmt: skip
    assert sure(client, f"{at}/at-once", data).status_code == 200
    assert fresh(store, "t1") == pytest.approx(98.49, abs=0.05)
    page = client.get(at).text
    assert 'name="fresh_purity_value" inputmode="decimal" autocomplete="off" value="99"' in page
    assert '<option value="volume_percent" selected>' in page


def test_an_item_keeps_its_purity_as_it_was_entered(client: TestClient, store: Store) -> None:
    new = {"name": "Isopropanol 91", "item": "ipa91", "category": "solvent", "unit": "L",
           "solvent": "isopropanol", "purity_value": "91"}  # fmt: skip
    client.post(f"/rooms/{ROOM}/shelf/new", data=new)
    kept = item(store, "ipa91")
    assert (kept.purity_percent, kept.purity_volume_percent) == (BY_MASS, 91.0)
    at = f"/rooms/{ROOM}/shelf/items/ipa91/settings"
    assert "91 % by volume is 87.6 % by mass." in client.get(at).text
    shown = {"name": "Isopropanol 91", "purity_value": "91", "purity_basis": "mass_percent"}
    client.post(at, data=shown)
    changed = item(store, "ipa91")
    assert (changed.purity_percent, changed.purity_volume_percent) == (91.0, None)


def test_a_program_says_the_basis_by_the_field(client: TestClient, store: Store) -> None:
    swap = {"kind": "swap", "tank": "t1", "at": "2026-03-02T09:00:00+00:00",
            "fresh_purity_volume_percent": 99.0}  # fmt: skip
    at = f"/api/v1/rooms/{ROOM}/entries"
    assert client.post(at, json=swap | {"fresh_purity_percent": 99.0}).status_code == 422
    assert client.post(at, json=swap).status_code in (200, 201)
    assert fresh(store, "t1") == pytest.approx(98.49, abs=0.05)


def test_an_old_log_keeps_its_meaning(client: TestClient, store: Store) -> None:
    old = {"kind": "tank", "tank": "ash", "name": "Ash", "capacity_l": 40, "solvent": "isopropanol",
           "fresh_purity_percent": 91, "at": "2026-02-02T09:00:00+00:00"}  # fmt: skip
    answer = send(client, json.dumps(old), "application/x-ndjson")
    assert answer.status_code == 201, answer.text
    assert fresh(store, "ash") == 91.0


def test_a_spreadsheet_gives_purity_as_labels_do(client: TestClient, store: Store) -> None:
    table = (
        "at,kind,tank,capacity_l,solvent,Purity,limit_percent\n"
        "2026-02-02 09:00,tank,Ash tank,40,isopropanol,91,10\n"
    )
    answer = send(client, table, "text/csv")
    assert answer.status_code == 201, answer.text
    assert fresh(store, "ash-tank") == BY_MASS
