"""A bath whose parts come from another one: said at the tank, settled by one tap, taken back."""

import re

import numpy as np
from fastapi.testclient import TestClient
from sqlmodel import Session, select

from app.services.door import bring_in
from app.store.engine import Store
from app.store.tables import EntryRow, TankRow
from tests.factories import NOW, ROOM, wash
from tests.steady import residue

TANKS = f"/rooms/{ROOM}/tanks"


def follow(store: Store) -> None:
    """Every load is logged in T1 and, a quarter of an hour later, in T2, which reads clean."""
    sizes = np.random.default_rng(4).uniform(800, 3000, 40).round()
    days = [1.0 - i / 45 for i in range(40)]
    loads = [
        wash(before, key, area_cm2=float(size))
        for day, size in zip(days, sizes, strict=True)
        for before, key in ((day, "t1"), (day - 0.01, "t2"))
    ]
    tests = [residue(day, 0.03, "t2") for day in (0.5, 0.3)]
    bring_in(store, ROOM, [*loads, *tests], NOW)


def row(store: Store, key: str) -> TankRow:
    with Session(store.reader) as session:
        return session.exec(select(TankRow).where(TankRow.key == key)).one()


def saved(store: Store) -> list[EntryRow]:
    with Session(store.reader) as session:
        return list(session.exec(select(EntryRow).where(EntryRow.kind == "tank_change")))


def test_one_tap_makes_it_the_clean_bath_of_the_other(client: TestClient, store: Store) -> None:
    follow(store)
    page = client.get(f"{TANKS}/t2").text
    assert "The loads logged here were washed in T1 shortly before" in page
    found = re.search(r'href="([^"]*)">Make it the clean bath of T1<', page)
    assert found is not None
    assert row(store, "t1").pair is None  # a swap of a pair waits for a person's word

    form = client.get(found.group(1)).text
    assert '<option value="t2" selected>' in form
    fields = dict(re.findall(r'<input[^>]*name="([^"]+)"[^>]*value="([^"]*)"', form))
    fields.pop("is_retired", None)
    typed = fields | {"pair": "t2", "limit_basis": "mass_percent", "stop_basis": "mass_percent"}
    assert (
        client.post(f"{TANKS}/t1/settings", data=typed, follow_redirects=False).status_code == 303
    )
    assert row(store, "t1").pair == "t2"
    assert "Make it the clean bath" not in client.get(f"{TANKS}/t2").text

    none = typed | {"pair": "", "submission": "another-one"}
    assert client.post(f"{TANKS}/t1/settings", data=none, follow_redirects=False).status_code == 303
    assert row(store, "t1").pair is None
    assert len(saved(store)) == 2


def test_a_tank_is_not_offered_as_its_own_clean_bath(client: TestClient) -> None:
    form = client.get(f"{TANKS}/t1/settings").text
    assert '<option value="t2"' in form
    assert '<option value="t1"' not in form


def test_a_clean_bath_that_is_no_tank_is_refused(client: TestClient) -> None:
    answer = client.post(
        f"/api/v1/rooms/{ROOM}/entries",
        json={"kind": "tank_change", "at": NOW.isoformat(), "tank": "t1", "pair": "nowhere"},
    )
    assert answer.status_code == 422
    assert answer.json()["errors"][0]["message"].startswith("There is no tank “nowhere”")
